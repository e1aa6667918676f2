"""A deadline for every request: work that takes longer is cancelled.

Knows the clock, WSGI and `core.cancellation`, no noun. The time begins when the application is
called, which the gunicorn worker does once it has the body, and anew with each line of a batch.
"""

from collections.abc import Callable, Iterable
from time import monotonic
from typing import Final
from wsgiref.types import StartResponse, WSGIEnvironment

from flask import Flask, Response, current_app

from shortway.api.http import problems
from shortway.batch import lines
from shortway.core.cancellation import Cancelled, cancel_scope
from shortway.request_trace import current_request
from shortway.wire.problems import OUT_OF_TIME, problem

_SETTING: Final = "DEADLINE_SECONDS"


class Deadline:
    """A checkpoint that raises `Cancelled` past the deadline."""

    def __init__(self, seconds: float) -> None:
        self._end = monotonic() + seconds

    def __call__(self) -> None:
        if monotonic() > self._end:
            raise Cancelled


def init_deadline(app: Flask) -> None:
    """Give every request to `app` a deadline, except its own."""
    application, seconds = app.wsgi_app, app.config[_SETTING]

    def timed(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        state = current_request()
        is_internal = state is not None and state.is_internal
        with cancel_scope(None if is_internal else Deadline(seconds)):
            return application(environ, start_response)

    app.wsgi_app = timed  # type: ignore[method-assign]
    app.register_error_handler(Cancelled, _out_of_time)


def answer_lines_in_time() -> Callable[[bytes, int], bytes]:
    """A function that solves a line of a batch under a deadline of its own."""
    seconds = current_app.config[_SETTING]

    def answer(line: bytes, number: int) -> bytes:
        with cancel_scope(Deadline(seconds)):
            return lines.answer_line(line, number)

    return answer


def _out_of_time(_: Cancelled) -> Response:
    seconds = current_app.config[_SETTING]
    detail = f"this takes longer than the limit of {seconds} s: {OUT_OF_TIME}"
    headers = {"Retry-After": str(seconds)}
    return problems.problem_response(problem("out-of-time", detail), headers)
