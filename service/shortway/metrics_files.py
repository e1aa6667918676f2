"""The files that a service's processes count into: where they lie, who reads, what becomes of them.

Knows files, and prometheus_client's form of them. A process that has ended leaves its counts
behind: they are added to those of all that have ended before, so that a service whose processes
are replaced has no more files after a year than after a day. Who adds them up meanwhile waits.
"""

from __future__ import annotations

import fcntl
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

#: What a file of a process that has ended is added to; no process has this number.
_ENDED: Final = 0
_LOCK: Final = "lock"
#: Kinds of files whose values add up; gauges of a process end with it.
_KINDS: Final = ("counter", "histogram")


def prepare(directory: Path) -> None:
    """Make `directory`, for this user alone, with nothing of an earlier service in it.

    Raises
    ------
    OSError
        If it cannot be made, or is somebody else's.
    """
    directory.mkdir(mode=0o700, exist_ok=True)
    status = directory.lstat()
    if directory.is_symlink() or status.st_uid != os.geteuid():
        raise PermissionError(f"{directory} is somebody else's")
    for left in directory.iterdir():
        left.unlink()
    (directory / _LOCK).touch(mode=0o600)


def remove(directory: Path) -> None:
    """Remove `directory`, if it is there."""
    shutil.rmtree(directory, ignore_errors=True)


@contextmanager
def reading(directory: Path) -> Iterator[None]:
    """Nothing is moved from one file to another meanwhile."""
    with _locked(directory, fcntl.LOCK_SH):
        yield


@contextmanager
def _locked(directory: Path, how: int) -> Iterator[None]:
    with open(directory / _LOCK, "rb") as lock:
        fcntl.flock(lock, how)
        yield


def retire(directory: Path, pid: int) -> None:
    """Add what the process `pid`, which has ended, counted to what all others did."""
    with _locked(directory, fcntl.LOCK_EX):
        for kind in _KINDS:
            _add(directory / f"{kind}_{pid}.db", directory / f"{kind}_{_ENDED}.db")
        for file in directory.glob(f"*_{pid}.db"):
            file.unlink()


def _add(file: Path, to: Path) -> None:
    """Add the values of one file, if it is there, to another's."""
    from prometheus_client import mmap_dict

    values: Any = mmap_dict.MmapedDict
    if not file.exists():
        return
    total = values(str(to))
    for key, value, *_ in values.read_all_values_from_file(str(file)):
        total.write_value(key, total.read_value(key)[0] + value, 0.0)
    total.close()
