"""Whether the service is shutting down: one flag that all its processes share.

Knows the standard library only. The arbiter sets it before it closes anything; ``GET /readyz`` then
fails, and every response closes its connection, so that clients go elsewhere in time.
"""

from __future__ import annotations

import mmap

# Anonymous shared memory: processes that are forked after this have the same byte.
_flag = mmap.mmap(-1, 1)


def begin_shutdown() -> None:
    """Set the flag, for every process."""
    _flag[0] = 1


def is_shutting_down() -> bool:
    """Whether the service is shutting down."""
    return _flag[0] == 1
