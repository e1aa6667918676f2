"""Progress of a batch, on one line of a terminal.

Knows neither files nor processes; the screen is given to it.
"""

from collections.abc import Callable
from time import monotonic
from typing import Final

EVERY: Final = 0.2
"""Seconds between two lines."""

Say = Callable[[str], None]


class Progress:
    """Prints charts done, their rate and the time left, now and then.

    `say`: puts a text on the screen, which overwrites the line it is on.
    """

    def __init__(self, say: Say) -> None:
        self._say = say
        self._told = float("-inf")
        self._first: tuple[int, float, float] | None = None
        self._length = 0

    def tell(self, done: int, share: float) -> None:
        """`done` charts are answered, and `share` of the input, 0 to 1."""
        now = monotonic()
        if self._first is None:
            self._first = done, share, now
        if now - self._told >= EVERY:
            self._told = now
            before, share_before, begin = self._first
            self._put(progress_line(done - before, now - begin, done, share, share_before))

    def end(self) -> None:
        """Clear the line."""
        if self._length:
            self._put("")
            self._say("\r")

    def _put(self, text: str) -> None:
        self._say("\r" + text.ljust(self._length))
        self._length = len(text)


def progress_line(gained: int, seconds: float, done: int, share: float, share_before: float) -> str:
    """The progress line: `gained` charts in `seconds` give the rate and the time left.

    >>> progress_line(12345, 10.0, 20000, 0.25, 0.0)
    '20,000 charts, 25 %, 1,234 a second, 0:00:30 left'
    """
    rate = gained / seconds if seconds > 0 else 0.0
    more = share - share_before
    left = format_duration(seconds * (1 - share) / more) if more > 0 else "?"
    pace = f"{rate:,.0f}" if rate >= 10 else f"{rate:.1f}"
    return f"{done:,} charts, {share * 100:.0f} %, {pace} a second, {left} left"


def format_duration(seconds: float) -> str:
    """Seconds as hours, minutes and seconds.

    >>> format_duration(3725.4)
    '1:02:05'
    """
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes // 60}:{minutes % 60:02}:{rest:02}"
