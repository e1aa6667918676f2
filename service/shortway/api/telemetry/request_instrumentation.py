"""Watching: each request followed from its first byte to the last of its answer.

Knows WSGI; `instrument` takes the observers, which count, log and trace. What only the views know
reaches them as notes of the request's `RequestTrace`. Requests that the application makes itself,
for the examples of its document, are left out.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from time import perf_counter
from typing import Any, Final

from flask import Flask, request

from shortway import request_trace as timing
from shortway.api.middleware.authentication import INSIDE

Environ = dict[str, Any]
Application = Callable[..., Iterable[bytes]]

#: Methods that are told by name; a client may send any word as one.
METHODS: Final = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
_logger = logging.getLogger("shortway.api")
_RULE: Final = "shortway.rule"
#: Calls that are asked all day long by whoever watches.
PROBES: Final = ("getHealth", "getReadiness", "getMetrics")
#: The call of an address that is none.
NO_CALL: Final = "none"


@dataclass(slots=True)
class RequestRecord:
    """A request that has been answered, as observers are told of it.

    Attributes
    ----------
    status : int
        0 where no answer was begun.
    sent : int
        Bytes of the answer's body.
    seconds : float
        From the request's head to the last byte handed to the server.
    whole : bool
        Whether the body was sent to its end.
    method : str
        One of `METHODS`, or ``other``.
    call : str
        The operationId of a call, ``page``, or `NO_CALL`: few, whatever is asked.
    template : str or None
        The address as it stands in the routes; None where nothing is there.
    """

    environ: Environ
    course: timing.RequestTrace
    status: int = 0
    sent: int = 0
    seconds: float = 0.0
    whole: bool = False
    method: str = "other"
    call: str = NO_CALL
    template: str | None = None

    def end(self) -> None:
        """Note when this was, and what was asked."""
        self.seconds = perf_counter() - self.course.started
        method: str = self.environ.get("REQUEST_METHOD", "")
        if method in METHODS:
            self.method = method
        if (rule := self.environ.get(_RULE)) is not None:
            self.template, self.call = rule.rule, _name(rule.endpoint)


@cache
def _name(endpoint: str) -> str:
    return "page" if endpoint.startswith("page ") else endpoint.rpartition(".")[2]


@dataclass(frozen=True)
class Observer:
    """Whom to tell when a request begins and when it has been answered."""

    ended: Callable[[RequestRecord], None]
    began: Callable[[Environ], None] = lambda _: None


def instrument(app: Flask, observers: Sequence[Observer]) -> None:
    """Have every request to `app` followed."""
    app.before_request(_note_rule)
    app.wsgi_app = _Watch(app.wsgi_app, tuple(observers))  # type: ignore[method-assign]


def _note_rule() -> None:
    request.environ[_RULE] = request.url_rule


class _Watch:
    """The application, watched."""

    def __init__(self, application: Application, observers: tuple[Observer, ...]) -> None:
        self._application = application
        self._observers = observers

    def __call__(self, environ: Environ, start_response: Callable[..., Any]) -> Iterable[bytes]:
        if INSIDE in environ:
            return self._application(environ, start_response)
        seen = RequestRecord(environ, timing.begin())
        for observer in self._observers:
            observer.began(environ)

        def start(status: str, headers: Any, *error: Any) -> Any:
            seen.status = int(status[:3])
            return start_response(status, headers, *error)

        answer = _Answer(seen, self._observers)
        try:
            answer.body = self._application(environ, start)
        except BaseException:
            answer.close()
            raise
        return answer


class _Answer:
    """The body of an answer, counted while it goes out."""

    def __init__(self, seen: RequestRecord, observers: tuple[Observer, ...]) -> None:
        self.body: Iterable[bytes] = ()
        self._seen = seen
        self._observers = observers
        self._is_open = True

    def __iter__(self) -> Iterator[bytes]:
        seen = self._seen
        for piece in self.body:
            seen.sent += len(piece)
            yield piece
        seen.whole = True
        self._end()

    def close(self) -> None:
        """Close the body."""
        try:
            getattr(self.body, "close", lambda: None)()
        finally:
            self._end()

    def _end(self) -> None:
        """Tell the observers, once."""
        if not self._is_open:
            return
        self._is_open = False
        timing.end()
        self._seen.end()
        for observer in self._observers:
            try:
                observer.ended(self._seen)
            except Exception:  # whoever watches must not cost an answer
                _logger.exception("a request could not be told of")
