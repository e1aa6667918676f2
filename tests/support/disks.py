"""Small file systems in memory, which fill up."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest


@contextmanager
def small_disk(place: Path, size: str) -> Iterator[Path]:
    """A file system of its own at `place`; the test is skipped where none may be mounted."""
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(place)]
    if os.geteuid() or subprocess.run(mount, check=False, capture_output=True).returncode:
        pytest.skip("no file system may be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def fill(disk: Path) -> Path:
    """Fill a disk to its end; the file that does."""
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as file, suppress(OSError):
        while file.write(b"\0" * 4096):
            pass
    return filler
