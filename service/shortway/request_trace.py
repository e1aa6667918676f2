"""What is known of the request under way, and where its time goes.

Knows the standard library only. Middleware makes a `RequestState` for each request and fills it in
as more becomes known (`update_request`); resources and telemetry read it (`current_request`).
Services count their time with `phase`. Outside a request all of this does nothing.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from time import perf_counter
from typing import Any, Final

#: Phases: reading the request, computing the result, writing the response.
PARSE: Final = "parse"
SEARCH: Final = "search"
RENDERING: Final = "rendering"
#: Intervals that one trace keeps; a long batch has more, and its sums go on.
MOST_INTERVALS: Final = 64


class RequestTrace:
    """Times of one request, in seconds of `time.perf_counter`.

    `spent`: seconds of each phase; a phase within another is counted as itself only. `intervals`:
    phase, beginning and end of each, at most `MOST_INTERVALS`.
    """

    __slots__ = ("_phase", "_since", "intervals", "spent", "started")

    def __init__(self) -> None:
        self.started = self._since = perf_counter()
        self._phase: str | None = None
        self.spent: dict[str, float] = {}
        self.intervals: list[tuple[str, float, float]] = []

    def switch(self, name: str | None) -> str | None:
        """Begin the phase `name`, or none; returns the phase that ends."""
        now, ended = perf_counter(), self._phase
        if ended is not None:
            self.spent[ended] = self.spent.get(ended, 0.0) + now - self._since
            if len(self.intervals) < MOST_INTERVALS:
                self.intervals.append((ended, self._since, now))
        self._phase, self._since = name, now
        return ended


@dataclass(slots=True)
class RequestState:
    """What is known of one request."""

    request_id: str
    #: The application's own request: not authenticated, rate-limited, counted or logged.
    is_internal: bool = False
    #: The call's operationId, ``page``, or ``none`` for an unknown URL.
    operation: str = "none"
    #: The URL rule, such as ``/v1/paths``.
    route: str | None = None
    #: The name that the request's token belongs to.
    client: str | None = None
    #: The body, once it has been read as a whole.
    body: bytes | None = field(default=None, repr=False)
    #: Bytes of the body that have been read.
    received: int = 0
    #: The response cache had the response.
    is_cached: bool = False
    #: Why the application need not look at the request: it is rejected already.
    rejection: Exception | None = None
    #: The code of the problem that the response is.
    problem: str | None = None
    #: A batch's counts of lines so far.
    batch: Any = None
    trace: RequestTrace = field(default_factory=RequestTrace)


_current: ContextVar[RequestState | None] = ContextVar("shortway.request", default=None)


def current_request() -> RequestState | None:
    """The request under way in this thread."""
    return _current.get()


def set_request(state: RequestState | None) -> None:
    """Make `state` the request under way in this thread."""
    _current.set(state)


def update_request(**known: Any) -> None:
    """Add what has become known of the request under way; fields are those of `RequestState`."""
    state = _current.get()
    if state is not None:
        for name, value in known.items():
            setattr(state, name, value)


@contextmanager
def internal_requests() -> Iterator[None]:
    """Requests made to the application inside the block are its own."""
    outer = _current.get()
    _current.set(RequestState("internal", is_internal=True))
    try:
        yield
    finally:
        _current.set(outer)


class phase:  # noqa: N801 - reads as the statement it is used as
    """``with phase(SEARCH):`` counts the time inside as that phase.

    >>> state = RequestState("example")
    >>> set_request(state)
    >>> with phase(PARSE):
    ...     with phase(SEARCH):
    ...         pass
    >>> set_request(None)
    >>> [name for name, *_ in state.trace.intervals], sorted(state.trace.spent)
    (['parse', 'search', 'parse'], ['parse', 'search'])
    """

    __slots__ = ("_name", "_outer", "_trace")

    def __init__(self, name: str) -> None:
        self._name = name

    def __enter__(self) -> None:
        state = _current.get()
        self._trace = None if state is None else state.trace
        if self._trace is not None:
            self._outer = self._trace.switch(self._name)

    def __exit__(self, *_: object) -> None:
        if self._trace is not None:
            self._trace.switch(self._outer)
