"""Returns freed memory to the system; knows glibc's allocator.

A long chart takes some hundred megabytes for a moment. Each of many threads has an arena, which
keeps what it has freed until `malloc_trim` looks through all of them.
"""

from __future__ import annotations

import ctypes
import time
from threading import Thread
from typing import Final

#: Seconds between two looks, each of which takes milliseconds.
_SECONDS: Final = 1.0


def start_trimming() -> None:
    """Return freed memory again and again, as long as this process lives; elsewhere do nothing."""
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
    if trim is not None:
        Thread(target=_trim, args=(trim,), name="trim", daemon=True).start()


def _trim(trim: ctypes._NamedFuncPointer) -> None:
    while True:
        time.sleep(_SECONDS)
        trim(0)
