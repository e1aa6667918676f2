"""Request instrumentation: each request is followed from its first byte to its response's last.

Knows WSGI. Observers count, log and trace; what only views know reaches them in the request's
`RequestState`. Every response gets the standard headers here, whoever answers. The application's
own requests, for the examples of its document, are left out.
"""

import logging
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from time import perf_counter
from typing import Any, Final
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

from flask import Flask, request

from shortway.api.http.responses import Headers, request_id_from, standard_headers
from shortway.request_trace import RequestState, current_request, set_request, update_request

#: Methods that are reported by name; a client may send any word as one.
METHODS: Final = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
#: Operations that monitors call all day long.
PROBES: Final = ("getHealth", "getReadiness", "getMetrics")

_log = logging.getLogger("shortway.api")


@dataclass(slots=True)
class RequestRecord:
    """A request whose response has been sent, as observers get it."""

    environ: WSGIEnvironment
    state: RequestState
    #: 0 where no response was begun.
    status: int = 0
    #: Bytes of the response's body.
    sent: int = 0
    #: From the request's head to the last byte handed to the server.
    seconds: float = 0.0
    #: Whether the body was sent to its end.
    is_complete: bool = False
    #: One of `METHODS`, or ``other``.
    method: str = "other"
    #: The OpenTelemetry trace, where one was made.
    trace_id: str | None = None

    def finish(self) -> None:
        """Take the final state and the time."""
        self.state = current_request() or self.state
        self.seconds = perf_counter() - self.state.trace.started
        method: str = self.environ.get("REQUEST_METHOD", "")
        if method in METHODS:
            self.method = method


@dataclass(frozen=True)
class Observer:
    """Functions that are called when a request begins and when its response has been sent."""

    finished: Callable[[RequestRecord], None]
    started: Callable[[], None] = lambda: None


def instrument(app: Flask, observers: Sequence[Observer]) -> None:
    """Give every request to `app` its `RequestState`, and report it to `observers`."""
    app.before_request(_note_route)
    app.teardown_request(_forget_tracebacks)
    app.wsgi_app = _Instrumented(app.wsgi_app, tuple(observers))  # type: ignore[method-assign]


def _note_route() -> None:
    if (rule := request.url_rule) is not None:
        update_request(route=rule.rule, operation=_operation(rule.endpoint))


def _forget_tracebacks(_: BaseException | None) -> None:
    """Free a rejected request at once: its exception's frames hold the exception."""
    state = current_request()
    rejection = None if state is None else state.rejection
    for error in (request.routing_exception, rejection):
        if error is not None:
            error.__traceback__ = error.__context__ = None


@cache
def _operation(endpoint: str) -> str:
    return "page" if endpoint.startswith("page ") else endpoint.rpartition(".")[2]


class _Instrumented:
    """The application, instrumented."""

    def __init__(self, application: WSGIApplication, observers: tuple[Observer, ...]) -> None:
        self._application = application
        self._observers = observers

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        outer = current_request()
        is_internal = outer is not None and outer.is_internal
        observers = () if is_internal else self._observers
        state = RequestState(request_id_from(environ.get("HTTP_X_REQUEST_ID", "")), is_internal)
        set_request(state)
        record = RequestRecord(environ, state)
        for observer in observers:
            observer.started()

        def start(status: str, headers: Headers, *error: Any) -> Any:
            record.status = int(status[:3])
            more = standard_headers(headers, state.request_id)
            return start_response(status, [*headers, *more], *error)

        body = _Body(record, observers, outer if is_internal else None)
        try:
            body.pieces = self._application(environ, start)
        except BaseException:
            body.close()
            raise
        return body


class _Body:
    """The body of a response, counted while it is sent."""

    def __init__(
        self, record: RequestRecord, observers: tuple[Observer, ...], outer: RequestState | None
    ) -> None:
        self.pieces: Iterable[bytes] = ()
        self._record = record
        self._observers = observers
        self._outer = outer
        self._is_open = True

    def __iter__(self) -> Iterator[bytes]:
        record = self._record
        for piece in self.pieces:
            record.sent += len(piece)
            yield piece
        record.is_complete = True
        self._end()

    def close(self) -> None:
        """Close the body."""
        try:
            getattr(self.pieces, "close", lambda: None)()
        finally:
            self._end()

    def _end(self) -> None:
        """Report to the observers, once."""
        if not self._is_open:
            return
        self._is_open = False
        self._record.finish()
        set_request(self._outer)
        for observer in self._observers:
            try:
                observer.finished(self._record)
            except Exception:  # telemetry must not cost a response
                _log.exception("a request could not be reported")
