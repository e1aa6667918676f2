"""Effort: whatever may take long says now and then that it is still at it, and may be stopped.

Knows no clock. Whoever has one asks to be told (`cancel_scope`); `checkpoint` tells it, and what
it raises
ends the work. Call `checkpoint` where a table is made, or a step or a measure is done: often
enough that
work ends within half a second of processor time, seldom enough that nobody sees the cost. Not in a
generator that a C function drains: some turn what it raises into an error of their own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

Check = Callable[[], None]

_watch: ContextVar[Check | None] = ContextVar("shortway_checkpoint", default=None)


class Cancelled(Exception):
    """The work was stopped by whoever watches it; nothing is wrong with the request."""


def checkpoint() -> None:
    """Tell whoever watches that work goes on; without a watch nothing happens.

    >>> checkpoint()
    """
    watch = _watch.get()
    if watch is not None:
        watch()


@contextmanager
def cancel_scope(watch: Check | None) -> Iterator[None]:
    """Have `watch` called by all work inside, in this thread; None leaves it alone.

    >>> told = []
    >>> with cancel_scope(lambda: told.append("spent")):
    ...     checkpoint()
    >>> told
    ['spent']
    """
    before = _watch.set(watch)
    try:
        yield
    finally:
        _watch.reset(before)
