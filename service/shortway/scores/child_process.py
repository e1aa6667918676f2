"""A module run as a process of its own, for libraries that may block, crash or grow.

A line of JSON in, a line of JSON out, one call at a time. Waiting can be cancelled: a caller that
is cancelled, or waits too long, kills the process, and the next call starts another. The process
ends with its parent.
"""

import atexit
import json
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from contextlib import suppress
from threading import Lock
from typing import Any, Final

from shortway.core.cancellation import checkpoint

#: Seconds between two checks for cancellation.
_POLL_SECONDS: Final = 0.1


class ProcessFailed(Exception):
    """The process ended without a response, or did not respond in time."""


class ChildProcess:
    """A module's process, started on demand, and its lock.

    `module`: its name; run with ``python -m``, it answers lines until its input ends. `seconds`:
    how long a call may take; without limit where None.
    """

    def __init__(self, module: str, seconds: float | None = None) -> None:
        self._module, self._seconds = module, seconds
        self._lock = Lock()
        self._readers = ThreadPoolExecutor(1, module.rpartition(".")[2])
        self._process: subprocess.Popen[bytes] | None = None

    def call(self, request: object) -> Any:
        """The response to `request`, both JSON values.

        Raises ProcessFailed; Cancelled if the caller's scope is cancelled meanwhile.
        """
        while not self._lock.acquire(timeout=_POLL_SECONDS):
            checkpoint()
        try:
            return json.loads(self._respond(self._running(), json.dumps(request).encode() + b"\n"))
        except BaseException as error:
            self.end()
            if isinstance(error, OSError | ValueError):
                raise ProcessFailed("it stopped without a response") from None
            raise
        finally:
            self._lock.release()

    def end(self) -> None:
        """Kill the process, if there is one."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.wait()
            for pipe in (process.stdin, process.stdout):
                with suppress(OSError):  # what was not taken is lost
                    pipe.close()  # type: ignore[union-attr]

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._process.poll() is not None:
            self.end()
            self._process = subprocess.Popen(
                (sys.executable, "-m", self._module),
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            )  # fmt: skip
        return self._process

    def _respond(self, process: subprocess.Popen[bytes], request: bytes) -> bytes:
        response = self._readers.submit(_exchange, process, request)
        waited = 0.0
        while True:
            try:
                return response.result(_POLL_SECONDS)
            except NotYet:
                checkpoint()
            waited += _POLL_SECONDS
            if self._seconds is not None and waited > self._seconds:
                raise ProcessFailed(f"it takes longer than {self._seconds:g} s")


def _exchange(process: subprocess.Popen[bytes], request: bytes) -> bytes:
    """A line for a line; a stopped process may not even take the request."""
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(request)
    process.stdin.flush()
    return process.stdout.readline()


_processes: dict[tuple[int, str], ChildProcess] = {}


def child_process(module: str, seconds: float | None = None) -> ChildProcess:
    """The process of `module` for this process; a forked process has its own."""
    key = os.getpid(), module
    return _processes.get(key) or _processes.setdefault(key, ChildProcess(module, seconds))


@atexit.register
def _end() -> None:
    for (owner, _), process in _processes.items():
        if owner == os.getpid():
            process.end()
