"""Admission control: a bounded number of requests compute, a bounded number wait, others get 503.

Knows WSGI, no noun. The body has been read before, so that a slow client holds a thread and no
place; the place is released before the response is written. Health checks take none. A client is
its token, or its address without one. What is rejected here the application itself answers, so that
the answer has the headers of every response.
"""

import random
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from threading import Event, Lock
from typing import Any, Final
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

from flask import Flask
from werkzeug.wsgi import ClosingIterator

from shortway.api.http.problems import RequestError
from shortway.api.middleware.authentication import token_owner
from shortway.api.middleware.body_reader import is_streamed
from shortway.api.middleware.rate_limit import counted_address
from shortway.request_trace import current_request, update_request

#: Calls that take no place.
PROBES: Final = frozenset({"/healthz", "/readyz", "/metrics"})
#: Seconds after which to retry, drawn for each, so that clients do not retry all at once.
RETRY_AFTER: Final = (1, 2, 3)
#: Seconds that a request computes alone: most take a tenth of it.
TURN_SECONDS: Final = 0.025


@dataclass(eq=False, slots=True)
class _Waiter:
    client: str
    is_admitted: bool = False
    decided: Event = field(default_factory=Event)


class Places:
    """Places to compute in: a free one goes to the client that holds the fewest.

    So no client holds more than its share while another waits, however many connections it has.

    Parameters
    ----------
    most : int
        Places.
    most_waiting : int
        Requests that may wait. One more rejects the last one of the client with the most waiting.
    seconds : float
        Time that a request may wait.
    """

    def __init__(self, most: int, most_waiting: int, seconds: float) -> None:
        self._free = most
        self._most_waiting = most_waiting
        self._seconds = seconds
        self._waiting: list[_Waiter] = []
        self._held: Counter[str] = Counter()
        self._lock = Lock()

    def acquire(self, client: str) -> bool:
        """Take a place, if there is one in time."""
        with self._lock:
            if self._free:  # so nobody waits
                self._take(client)
                return True
            waiter = _Waiter(client)
            self._waiting.append(waiter)
            if len(self._waiting) > self._most_waiting:
                self._reject_one()
        waiter.decided.wait(self._seconds)
        with self._lock:
            if not waiter.decided.is_set():
                self._decide(waiter)
        return waiter.is_admitted

    def release(self, client: str) -> None:
        """Give a place back."""
        with self._lock:
            self._free += 1
            self._held[client] -= 1
            if not self._held[client]:
                del self._held[client]
            self._admit()

    def _admit(self) -> None:
        while self._free and self._waiting:
            first = min(self._waiting, key=lambda waiter: self._held[waiter.client])
            self._take(first.client)
            first.is_admitted = True
            self._decide(first)

    def _take(self, client: str) -> None:
        self._free -= 1
        self._held[client] += 1

    def _reject_one(self) -> None:
        waiting = Counter(waiter.client for waiter in self._waiting)
        self._decide(max(reversed(self._waiting), key=lambda waiter: waiting[waiter.client]))

    def _decide(self, waiter: _Waiter) -> None:
        self._waiting.remove(waiter)
        waiter.decided.set()


class Turns:
    """Turns to compute: one request at a time, until one takes longer than `seconds`.

    Threads that compute at once take Python's lock from each other again and again, so that all of
    them take longer. A request that takes longer than its turn goes on, and the next one begins.
    """

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._lock = Lock()

    @contextmanager
    def turn(self) -> Iterator[None]:
        """Wait for a turn, and have it inside the block."""
        lock = self._lock
        if not lock.acquire(timeout=self._seconds):
            self._lock = lock = Lock()  # the next ones wait for this request
            lock.acquire()
        try:
            yield
        finally:
            lock.release()


def init_admission_control(app: Flask) -> None:
    """Put `app` behind its places."""
    app.wsgi_app = _Admitting(app)  # type: ignore[method-assign]


class _Admitting:
    """The application behind its places."""

    def __init__(self, app: Flask) -> None:
        self._app = app
        self._application: WSGIApplication = app.wsgi_app
        given, seconds = app.config, app.config["QUEUE_SECONDS"]
        self._places = Places(given["MAX_CONCURRENT"], given["MAX_QUEUED"], seconds)
        self._turns = Turns(TURN_SECONDS)
        self._batches = Places(given["MAX_BATCHES"], given["MAX_BATCHES"], seconds)

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        state = current_request()
        is_free = state is not None and (state.is_internal or state.rejection is not None)
        if is_free or environ["PATH_INFO"] in PROBES:
            return self._application(environ, start_response)
        try:
            return self._admitted(environ, start_response, is_batch=is_streamed(environ))
        except RequestError as error:
            update_request(rejection=error)
            return self._application(environ, start_response)

    def _admitted(
        self, environ: WSGIEnvironment, start_response: StartResponse, *, is_batch: bool
    ) -> Iterable[bytes]:
        """The response of the application, in a place. Raises RequestError."""
        places, client = self._batches if is_batch else self._places, self._client(environ)
        if not places.acquire(client):
            headers = {"Retry-After": str(random.choice(RETRY_AFTER))}
            raise RequestError("unavailable", "too many requests are waiting", headers=headers)
        if not is_batch:
            try:
                with self._turns.turn():
                    return [_drained(self._application(environ, start_response))]
            finally:
                places.release(client)
        statuses: list[str] = []

        def start(status: str, headers: Any, *error: Any) -> Any:
            statuses.append(status)
            return start_response(status, headers, *error)

        with ExitStack() as held:
            held.callback(places.release, client)
            pieces = self._application(environ, start)
            held.callback(getattr(pieces, "close", lambda: None))
            if statuses[-1].startswith("200"):
                later = held.pop_all()
                return ClosingIterator(_until_the_end(pieces, later), later.close)
            return [b"".join(pieces)]

    def _client(self, environ: WSGIEnvironment) -> str:
        """Whose request it is."""
        name = token_owner(self._app, environ.get("HTTP_AUTHORIZATION"))
        return f"token {name}" if name else counted_address(environ.get("REMOTE_ADDR", ""))


def _drained(pieces: Iterable[bytes]) -> bytes:
    try:
        return b"".join(pieces)
    finally:
        getattr(pieces, "close", lambda: None)()


def _until_the_end(pieces: Iterable[bytes], held: ExitStack) -> Iterator[bytes]:
    yield from pieces
    held.close()
