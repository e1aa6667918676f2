"""Where the time of a request goes: its phases, and notes of what became of it.

Knows the standard library only. The shells say which phase begins (`phase`) and note what they
find (`note`); instrumentation makes a `RequestTrace` for each request and reads it at the end.
Without one, both do nothing. The core has no clock, so that nothing of it comes here.
"""

from __future__ import annotations

from contextvars import ContextVar
from time import perf_counter
from types import TracebackType
from typing import Any, Final

#: Reading what is asked, finding the answer, writing it.
PARSE: Final = "parse"
SEARCH: Final = "search"
RENDERING: Final = "rendering"
PHASES: Final = (PARSE, SEARCH, RENDERING)
#: Intervals that one course keeps; a long batch has more, and its sums go on.
MOST_INTERVALS: Final = 64


class RequestTrace:
    """One request under way: seconds in each phase, the intervals in order, and notes.

    Attributes
    ----------
    started : float
        Seconds of `time.perf_counter`, like all times here.
    spent : dict of str to float
        Seconds of each phase; what a phase holds within it is counted there alone.
    intervals : list of (str, float, float)
        Phase, beginning and end of each, at most `MOST_INTERVALS`.
    notes : dict
        What was noted.
    """

    __slots__ = ("_phase", "_since", "intervals", "notes", "spent", "started")

    def __init__(self) -> None:
        self.started = self._since = perf_counter()
        self._phase: str | None = None
        self.spent: dict[str, float] = {}
        self.intervals: list[tuple[str, float, float]] = []
        self.notes: dict[str, Any] = {}

    def turn(self, name: str | None) -> str | None:
        """Begin the phase `name`, or none; the one that ends is returned."""
        now, ended = perf_counter(), self._phase
        if ended is not None:
            self.spent[ended] = self.spent.get(ended, 0.0) + now - self._since
            if len(self.intervals) < MOST_INTERVALS:
                self.intervals.append((ended, self._since, now))
        self._phase, self._since = name, now
        return ended


_current: ContextVar[RequestTrace | None] = ContextVar("shortway.course", default=None)


def begin() -> RequestTrace:
    """A new course, current in this thread until `end`."""
    course = RequestTrace()
    _current.set(course)
    return course


def end() -> None:
    """Nothing is followed in this thread any more."""
    _current.set(None)


def note(name: str, value: Any) -> None:
    """Note `value` of the request under way, if it is followed."""
    course = _current.get()
    if course is not None:
        course.notes[name] = value


def noted(name: str) -> Any:
    """What was noted of the request under way, or None."""
    course = _current.get()
    return None if course is None else course.notes.get(name)


class phase:  # noqa: N801 - reads as the statement it is used as
    """``with phase(SEARCH):`` counts what is inside to that phase.

    >>> course = begin()
    >>> with phase(PARSE):
    ...     with phase(SEARCH):
    ...         pass
    >>> end()
    >>> [name for name, *_ in course.intervals], sorted(course.spent)
    (['parse', 'search', 'parse'], ['parse', 'search'])
    """

    __slots__ = ("_course", "_name", "_outer")

    def __init__(self, name: str) -> None:
        self._name = name

    def __enter__(self) -> None:
        self._course = _current.get()
        if self._course is not None:
            self._outer = self._course.turn(self._name)

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._course is not None:
            self._course.turn(self._outer)
