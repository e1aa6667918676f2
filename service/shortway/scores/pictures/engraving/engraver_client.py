"""The way to the process that engraves: started when it is first needed, one call at a time.

Knows processes, and that waiting is effort: whoever is stopped meanwhile kills the process, and the
next one to ask starts another. It ends with the process that started it, whatever ended that.
"""

from __future__ import annotations

import atexit
import json
import os
import subprocess
import sys
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from contextlib import contextmanager, suppress
from threading import Lock
from typing import Final

from shortway.core.cancellation import checkpoint

_COMMAND: Final = (sys.executable, "-m", "shortway.scores.pictures.engraving.engraver_process")
#: Seconds between two looks at whether one still wants to wait.
_PATIENCE: Final = 0.1


class EngraverError(Exception):
    """The process that engraves ended without an answer."""


class EngraverClient:
    """One process that engraves, and the turns of those who ask."""

    def __init__(self) -> None:
        self._turn = Lock()
        self._readers = ThreadPoolExecutor(1, "shortway-press")
        self._process: subprocess.Popen[bytes] | None = None

    def engraved(self, musicxml: str, options: Mapping[str, object]) -> tuple[list[str], list[str]]:
        """Pages of SVG, and what Verovio warned of; no pages where it could read no score.

        Raises
        ------
        PressError
        Stopped
            If whoever watches the effort ends it.
        """
        with self._alone():
            process = self._running()
            try:
                answer = self._asked(process, json.dumps([musicxml, options]).encode() + b"\n")
                pages, told = json.loads(answer)
            except BaseException as error:
                self.end()
                if isinstance(error, OSError | ValueError):
                    raise EngraverError("Verovio stopped without a response") from None
                raise
            return pages, told

    def end(self) -> None:
        """Kill the process, if there is one."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            with suppress(OSError):
                process.communicate()

    @contextmanager
    def _alone(self) -> Iterator[None]:
        while not self._turn.acquire(timeout=_PATIENCE):
            checkpoint()
        try:
            yield
        finally:
            self._turn.release()

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._process.poll() is not None:
            self.end()
            self._process = subprocess.Popen(
                _COMMAND, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
            )
        return self._process

    def _asked(self, process: subprocess.Popen[bytes], request: bytes) -> bytes:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(request)
        process.stdin.flush()
        answer = self._readers.submit(process.stdout.readline)
        while True:
            try:
                return answer.result(_PATIENCE)
            except NotYet:
                checkpoint()


_clients: dict[int, EngraverClient] = {}


def engraver_client() -> EngraverClient:
    """This process's press; one that was forked has none of its parent's."""
    own = _clients.get(os.getpid())
    if own is None:
        own = _clients.setdefault(os.getpid(), EngraverClient())
    return own


@atexit.register
def _end() -> None:
    if os.getpid() in _clients:
        engraver_client().end()
