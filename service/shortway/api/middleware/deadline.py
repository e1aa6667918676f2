"""A deadline on every request, past which its work stops.

Knows the clock, WSGI and `core.cancellation`, no noun. The time begins when the application is
called, which our worker does once the body is there, and anew with each line of a batch.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from time import monotonic
from typing import Any, Final

from flask import Flask, Response, current_app

from shortway.api.http import problems
from shortway.api.middleware.authentication import INSIDE
from shortway.batch import lines
from shortway.core.cancellation import Cancelled, cancel_scope
from shortway.wire.problems import OUT_OF_TIME, problem

Environ = dict[str, Any]
Application = Callable[..., Iterable[bytes]]

_SETTING: Final = "DEADLINE_SECONDS"


class Deadline:
    """Raises `Cancelled` when it is told of effort past its end."""

    def __init__(self, seconds: float) -> None:
        self._end = monotonic() + seconds

    def __call__(self) -> None:
        if monotonic() > self._end:
            raise Cancelled


def init_deadline(app: Flask) -> None:
    """Put every request to `app` under its deadline."""
    app.wsgi_app = _Timed(app.wsgi_app, app.config[_SETTING])  # type: ignore[method-assign]
    app.register_error_handler(Cancelled, _refused)


class _Timed:
    """The application, each call of it under a deadline; what it asks itself is under none."""

    def __init__(self, application: Application, seconds: float) -> None:
        self._application = application
        self._seconds = seconds

    def __call__(self, environ: Environ, start_response: Callable[..., Any]) -> Iterable[bytes]:
        deadline = None if INSIDE in environ else Deadline(self._seconds)
        with cancel_scope(deadline):
            return self._application(environ, start_response)


def answer_lines_in_time() -> Callable[[bytes, int], bytes]:
    """How a line of a batch is answered: under a deadline of its own."""
    seconds = current_app.config[_SETTING]

    def answer(line: bytes, number: int) -> bytes:
        with cancel_scope(Deadline(seconds)):
            return lines.answer(line, number)

    return answer


def _refused(_: Cancelled) -> Response:
    seconds = current_app.config[_SETTING]
    detail = f"this takes more than the {seconds} s that a request has here: {OUT_OF_TIME}"
    headers = {"Retry-After": str(seconds)}
    return problems.problem_response(problem("out-of-time", detail), headers)
