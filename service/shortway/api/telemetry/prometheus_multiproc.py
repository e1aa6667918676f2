"""The files that a service's processes count into: where they lie, who reads, what becomes of them.

Knows files, and prometheus_client's form of them. A process that has ended leaves its counts
behind: they are added to those of all that have ended before, so that a service whose processes
are replaced has no more files after a year than after a day. Who adds them up meanwhile waits.
"""

from __future__ import annotations

import atexit
import fcntl
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO, Final

#: What a file of a process that has ended is added to; no process has this number.
_ENDED: Final = 0
_NAME: Final = "shortway-metrics-"
_LOCK: Final = "lock"
#: Locked by whoever lives.
_HELD: Final = "held"
#: Kinds of files whose values add up; gauges of a process end with it.
_KINDS: Final = ("counter", "histogram")


def multiproc_directory(parent: str) -> Path:
    """Where the processes count that this process is the first of."""
    return Path(parent) / f"{_NAME}{os.getpid()}"


def prepare_directory(directory: Path) -> None:
    """Make `directory`, for this user alone, with nothing of an earlier service in it or beside it.

    It goes when this process ends, however many others have been forked from it; that of one that
    was killed goes when the next begins.

    Raises
    ------
    OSError
        If it cannot be made, or is somebody else's.
    """
    directory.mkdir(mode=0o700, exist_ok=True)
    if directory.is_symlink() or not _is_ours(directory):
        raise PermissionError(f"{directory} is somebody else's")
    for other in directory.parent.glob(f"{_NAME}*"):
        if _is_ours(other) and _is_left(other):
            remove_directory(other)
    directory.mkdir(mode=0o700, exist_ok=True)
    (directory / _LOCK).touch(mode=0o600)
    held = open(directory / _HELD, "wb")  # noqa: SIM115 - held until the last process ends
    fcntl.flock(held, fcntl.LOCK_EX)
    atexit.register(_end, directory, os.getpid(), held)


def _is_ours(directory: Path) -> bool:
    return directory.lstat().st_uid == os.geteuid()


def _is_left(directory: Path) -> bool:
    """Whether the service of `directory` is no more: nobody holds its file, in any container."""
    try:
        with open(directory / _HELD, "rb") as held:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _end(directory: Path, pid: int, held: BinaryIO) -> None:
    """Close this process's files; remove all, if it is the one that made the directory."""
    from prometheus_client import values

    values.close_all_multiprocess_files()  # type: ignore[no-untyped-call]
    if os.getpid() == pid:
        remove_directory(directory)
    held.close()


def remove_directory(directory: Path) -> None:
    """Remove `directory`, if it is there."""
    shutil.rmtree(directory, ignore_errors=True)


@contextmanager
def locked_for_reading(directory: Path) -> Iterator[None]:
    """Nothing is moved from one file to another meanwhile."""
    with _locked(directory, fcntl.LOCK_SH):
        yield


@contextmanager
def _locked(directory: Path, how: int) -> Iterator[None]:
    with open(directory / _LOCK, "rb") as lock:
        fcntl.flock(lock, how)
        yield


def merge_ended_process(directory: Path, pid: int) -> None:
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
