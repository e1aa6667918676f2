"""What Verovio has to say while it works: its warnings, caught.

Knows no music. Verovio writes its log to the process's standard error and nowhere else, so the
file descriptor is turned to a file meanwhile; whatever others write to it in that time is handed
on afterwards. One call at a time: Verovio's log is shared by the whole process.
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock
from typing import IO, Final

from shortway.core.effort import spent

_ONE_AT_A_TIME: Final = Lock()
#: Seconds between two looks at whether one still wants to wait.
_PATIENCE: Final = 0.1
_STDERR: Final = 2
_TOLD: Final = re.compile(r"\[(Warning|Error)\]\s*(.*)")


@contextmanager
def listening() -> Iterator[list[str]]:
    """While it lasts Verovio's warnings and errors are caught; then the list is filled with them.

    Usage: ``with listening() as told: …`` and read `told` afterwards.
    """
    told: list[str] = []
    with _alone(), tempfile.TemporaryFile() as file:
        try:
            kept = _turned(file)
        except OSError:  # No standard error at all: nothing to be heard.
            yield told
            return
        try:
            yield told
        finally:
            os.dup2(kept, _STDERR)
            os.close(kept)
            file.seek(0)
            _sort(file.read(), told)


@contextmanager
def _alone() -> Iterator[None]:
    """Wait for one's turn, which is effort, too."""
    while not _ONE_AT_A_TIME.acquire(timeout=_PATIENCE):
        spent()
    try:
        yield
    finally:
        _ONE_AT_A_TIME.release()


def _turned(file: IO[bytes]) -> int:
    """Turn standard error to `file`; where it went before."""
    sys.stderr.flush()
    kept = os.dup(_STDERR)
    os.dup2(file.fileno(), _STDERR)
    return kept


def _sort(written: bytes, told: list[str]) -> None:
    """Verovio's lines into `told`, the others to where they should have gone."""
    others = []
    for line in written.decode("utf-8", "replace").splitlines(keepends=True):
        match = _TOLD.match(line)
        if match:
            told.append(match[2].strip())
        else:
            others.append(line)
    if others:
        os.write(_STDERR, "".join(others).encode())
