"""The directory of prometheus-client's multiprocess mode: created, merged and removed.

Knows files, and prometheus-client's format of them. A process that ends leaves its counts in files
of its own; `merge_ended_process` adds them to one file of all ended processes, so that a service
whose processes are replaced has no more files after a year than after a day.
"""

import atexit
import fcntl
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO, Final

#: Stands for all processes that have ended; no process has this number.
_ENDED: Final = 0
_NAME: Final = "shortway-metrics-"
_LOCK: Final = "lock"
#: Locked by the service that uses the directory.
_HELD: Final = "held"
#: Kinds of files whose values add up; a process's gauges end with it.
_KINDS: Final = ("counter", "histogram")
#: All kinds, as prometheus-client begins their files' names.
_FILES: Final = (*_KINDS, "gauge_livesum")
#: Bytes of a file that are reserved: labels have few values. Writing to a mapped file that a full
#: disk has no room for ends the process (SIGBUS).
_RESERVED: Final = 512 * 1024


def multiproc_directory(parent: str) -> Path:
    """The directory of the service whose first process this is."""
    return Path(parent) / f"{_NAME}{os.getpid()}"


def prepare_directory(directory: Path) -> None:
    """Create `directory`, empty and for this user alone; remove those of killed services.

    It is removed when this process ends; that of a killed service when the next one starts.

    Raises OSError if it cannot be created, belongs to another user, or has no room.
    """
    directory.mkdir(mode=0o700, exist_ok=True)
    if directory.is_symlink() or not _is_ours(directory):
        raise PermissionError(f"{directory} belongs to another user")
    for other in directory.parent.glob(f"{_NAME}*"):
        if _is_ours(other) and _is_abandoned(other):
            remove_directory(other)
    directory.mkdir(mode=0o700, exist_ok=True)
    (directory / _LOCK).touch(mode=0o600)
    held = open(directory / _HELD, "wb")  # noqa: SIM115 - held until the last process ends
    fcntl.flock(held, fcntl.LOCK_EX)
    atexit.register(_end, directory, os.getpid(), held)
    for pid in (_ENDED, os.getpid()):
        reserve_files(directory, pid)


def reserve_files(directory: Path, pid: int) -> None:
    """Make the files of process `pid`, with the room that its counts will need.

    Raises OSError if there is no room; no file is left.
    """
    files = [directory / f"{kind}_{pid}.db" for kind in _FILES]
    try:
        for name in files:
            with open(name, "ab") as file:
                os.posix_fallocate(file.fileno(), 0, _RESERVED)
    except OSError:
        for name in files:
            name.unlink(missing_ok=True)
        raise


def _is_ours(directory: Path) -> bool:
    return directory.lstat().st_uid == os.geteuid()


def _is_abandoned(directory: Path) -> bool:
    """Whether the directory's service has ended: no process in any container has its lock."""
    try:
        with open(directory / _HELD, "rb") as held:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _end(directory: Path, pid: int, held: BinaryIO) -> None:
    """Close this process's files; remove all, if this process created the directory."""
    from prometheus_client import values

    values.close_all_multiprocess_files()  # type: ignore[no-untyped-call]
    if os.getpid() == pid:
        remove_directory(directory)
    held.close()


def remove_directory(directory: Path) -> None:
    """Remove `directory`, if it exists."""
    shutil.rmtree(directory, ignore_errors=True)


@contextmanager
def locked(directory: Path, how: int = fcntl.LOCK_SH) -> Iterator[None]:
    """Nothing is merged meanwhile; with ``LOCK_EX``, nothing is read either."""
    with open(directory / _LOCK, "rb") as lock:
        fcntl.flock(lock, how)
        yield


def merge_ended_process(directory: Path, pid: int) -> None:
    """Add the counts of the ended process `pid` to those of all ended processes."""
    with locked(directory, fcntl.LOCK_EX):
        for kind in _KINDS:
            _add(directory / f"{kind}_{pid}.db", directory / f"{kind}_{_ENDED}.db")
        for file in directory.glob(f"*_{pid}.db"):
            file.unlink()


def _add(file: Path, to: Path) -> None:
    """Add the values of `file`, if it exists, to those of another."""
    from prometheus_client import mmap_dict

    values: Any = mmap_dict.MmapedDict
    if not file.exists():
        return
    total = values(str(to))
    for key, value, *_ in values.read_all_values_from_file(str(file)):
        total.write_value(key, total.read_value(key)[0] + value, 0.0)
    total.close()
