"""Whether this service is about to stop: one flag that all its processes share.

Knows the standard library only. The arbiter raises it before it closes anything; ``GET /readyz``
then says no, and every answer that its connection closes, so that clients go elsewhere in time.
"""

from __future__ import annotations

import mmap

# Shared memory without a name: whoever is forked after this has the same byte.
_flag = mmap.mmap(-1, 1)


def begin_shutdown() -> None:
    """Say so, to every process."""
    _flag[0] = 1


def is_shutting_down() -> bool:
    """Whether the service is about to stop."""
    return _flag[0] == 1
