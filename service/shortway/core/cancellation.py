"""Cooperative cancellation: long work calls `checkpoint`, and the caller's check may stop it.

Knows no clock: the check that `cancel_scope` installs has one. Call `checkpoint` once per table,
step or measure: often enough that work stops within half a second of processor time. Do not call
it inside a generator that a C function consumes: some replace the exception by one of their own.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

Check = Callable[[], None]

_check: ContextVar[Check | None] = ContextVar("shortway_checkpoint", default=None)


class Cancelled(Exception):
    """Raised by a check to stop the work; the request itself is valid."""


def checkpoint() -> None:
    """Call the check of the current `cancel_scope`; without one do nothing.

    >>> checkpoint()
    """
    check = _check.get()
    if check is not None:
        check()


@contextmanager
def cancel_scope(check: Check | None) -> Iterator[None]:
    """Call `check` at every `checkpoint` inside, in this thread; None calls nothing.

    >>> calls = []
    >>> with cancel_scope(lambda: calls.append("checked")):
    ...     checkpoint()
    >>> calls
    ['checked']
    """
    before = _check.set(check)
    try:
        yield
    finally:
        _check.reset(before)
