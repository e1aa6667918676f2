"""Counts of requests in fixed windows, in this process's memory, by a clock that only goes on.

Knows limits' storages, as Flask-Limiter uses them. The library's own goes by the clock on the wall:
set back by a day, it would hold a limit against somebody for that day.
"""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from typing import Any, Final

from limits.storage import Storage

SCHEME: Final = "steady"
#: Windows before those that have ended are looked for.
_FEW: Final = 1024


@dataclass(slots=True)
class _Window:
    """A count, and when it ends by the monotonic clock."""

    ends: float
    count: int = 0


class SteadyStorage(Storage):
    """Fixed windows; memory is bounded by how many ask within one window, twice over."""

    STORAGE_SCHEME = [SCHEME]  # noqa: RUF012 - as limits declares it

    def __init__(self, uri: str | None = None, wrap_exceptions: bool = False, **_: Any) -> None:
        super().__init__(uri, wrap_exceptions=wrap_exceptions)
        self._windows: dict[str, _Window] = {}
        self._lock = threading.Lock()
        self._room = _FEW

    @property
    def base_exceptions(self) -> type[Exception]:
        """What it may raise: nothing."""
        return ValueError

    def incr(self, key: str, expiry: float, amount: int = 1) -> int:
        """Count `amount` more, in a window of `expiry` seconds if none has begun."""
        with self._lock:
            window = self._open(key)
            if window is None:
                self._sweep()
                window = self._windows[key] = _Window(time.monotonic() + expiry)
            window.count += amount
            return window.count

    def get(self, key: str) -> int:
        """The count so far."""
        with self._lock:
            window = self._open(key)
            return window.count if window else 0

    def get_expiry(self, key: str) -> float:
        """When the window ends, as the clock on the wall has it now."""
        with self._lock:
            window = self._open(key)
            return time.time() + (window.ends - time.monotonic() if window else 0.0)

    def check(self) -> bool:
        """Whether it is there, as it always is."""
        return True

    def reset(self) -> int:
        """Forget everything; how many windows that were."""
        with self._lock:
            count = len(self._windows)
            self._windows.clear()
            return count

    def clear(self, key: str) -> None:
        """Forget one count."""
        with self._lock:
            self._windows.pop(key, None)

    def _open(self, key: str) -> _Window | None:
        window = self._windows.get(key)
        return window if window and window.ends > time.monotonic() else None

    def _sweep(self) -> None:
        if len(self._windows) < self._room:
            return
        now = time.monotonic()
        self._windows = {key: held for key, held in self._windows.items() if held.ends > now}
        self._room = max(_FEW, 2 * len(self._windows))
