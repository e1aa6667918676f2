"""The client of the engraver process, which it starts on demand; one call at a time.

Waiting can be cancelled: a cancelled caller kills the process, and the next call starts another.
The process ends with its parent.
"""

from __future__ import annotations

import atexit
import json
import os
import subprocess
import sys
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from contextlib import suppress
from threading import Lock
from typing import Final

from shortway.core.cancellation import checkpoint

_COMMAND: Final = (sys.executable, "-m", "shortway.scores.pictures.engraving.engraver_process")
#: Seconds between two checks for cancellation.
_POLL_SECONDS: Final = 0.1


class EngraverError(Exception):
    """The engraver process ended without a response."""


class EngraverClient:
    """One engraver process and its lock."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._readers = ThreadPoolExecutor(1, "shortway-engraver")
        self._process: subprocess.Popen[bytes] | None = None

    def engraved(self, musicxml: str, options: Mapping[str, object]) -> tuple[list[str], list[str]]:
        """Pages of SVG, and Verovio's warnings; no pages if it cannot read the score.

        Raises EngraverError if the process ends without a response; Cancelled if the caller's scope
        is cancelled meanwhile.
        """
        while not self._lock.acquire(timeout=_POLL_SECONDS):
            checkpoint()
        try:
            process = self._running()
            try:
                response = self._respond(process, json.dumps([musicxml, options]).encode() + b"\n")
                pages, warnings = json.loads(response)
            except BaseException as error:
                self.end()
                if isinstance(error, OSError | ValueError):
                    raise EngraverError("Verovio stopped without a response") from None
                raise
        finally:
            self._lock.release()
        return pages, warnings

    def end(self) -> None:
        """Kill the process, if there is one."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            with suppress(OSError):
                process.communicate()

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._process.poll() is not None:
            self.end()
            self._process = subprocess.Popen(
                _COMMAND, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
            )
        return self._process

    def _respond(self, process: subprocess.Popen[bytes], request: bytes) -> bytes:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(request)
        process.stdin.flush()
        response = self._readers.submit(process.stdout.readline)
        while True:
            try:
                return response.result(_POLL_SECONDS)
            except NotYet:
                checkpoint()


_clients: dict[int, EngraverClient] = {}


def engraver_client() -> EngraverClient:
    """The client of this process; a forked process has its own."""
    return _clients.get(os.getpid()) or _clients.setdefault(os.getpid(), EngraverClient())


@atexit.register
def _end() -> None:
    if os.getpid() in _clients:
        engraver_client().end()
