"""The service as `shortway serve` runs it: a process of its own with its workers."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection
from pathlib import Path
from typing import IO, Any

from support.loopback import unused_port

#: Seconds that anything may take on a machine that many share; no test waits for it to pass.
LONG = 60


def until(is_so: Callable[[], Any], what: str = "what was waited for") -> Any:
    """Wait until `is_so()` is true, and give what it gave."""
    end = time.monotonic() + LONG
    while time.monotonic() < end:
        if found := is_so():
            return found
        time.sleep(0.02)
    raise AssertionError(f"{what} has not come about in {LONG} s")


@dataclass(frozen=True)
class Process:
    """A running service."""

    popen: subprocess.Popen[bytes]
    port: int
    errors: IO[bytes]

    @property
    def pid(self) -> int:
        """The arbiter's."""
        return self.popen.pid

    def workers(self) -> list[int]:
        """The workers' pids, those of the dead left out."""
        said = Path(f"/proc/{self.pid}/task/{self.pid}/children").read_text()
        return [pid for pid in map(int, said.split()) if _state(pid) not in ("Z", "X", "")]

    def connect(self) -> HTTPConnection:
        return HTTPConnection("127.0.0.1", self.port, timeout=LONG)

    def ask(
        self, path: str, body: Any = None, method: str | None = None, **headers: str
    ) -> tuple[int, bytes, dict[str, str]]:
        """Status, body and headers of one answer, on a connection of its own."""
        connection = self.connect()
        try:
            sent = {key.replace("_", "-"): value for key, value in headers.items()}
            if body is not None and not isinstance(body, bytes):
                body = json.dumps(body).encode()
                sent.setdefault("Content-Type", "application/json")
            connection.request(method or ("GET" if body is None else "POST"), path, body, sent)
            response = connection.getresponse()
            return response.status, response.read(), dict(response.headers)
        finally:
            connection.close()

    def is_up(self) -> bool:
        """Whether the service answers; what it was asked is counted by none but its logs."""
        try:
            return self.ask("/healthz")[0] == 200
        except OSError:
            return False

    def log(self) -> str:
        """What the service has written to standard error so far."""
        return Path(self.errors.name).read_text("utf-8")

    def stop(self, number: int = signal.SIGTERM) -> int:
        """Ask the service to stop, and give its exit code."""
        self.popen.send_signal(number)
        return self.popen.wait(LONG)


def _state(pid: int) -> str:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return ""


@contextmanager
def serving(
    workers: int = 1, before: str = "", config: Path | None = None, **settings: str
) -> Iterator[Process]:
    """A service that is up, with `settings` in its environment by their names.

    `before` is code that its process runs first, to make what is rare happen; with `config` it is
    gunicorn's own command that serves, with that file.
    """
    code = f"{before}\nfrom shortway.cli import main\nmain(['serve'])"
    what = ["-c", code] if config is None else ["-m", "gunicorn", "--config", str(config)]
    command = [sys.executable, "-W", "error", *what]
    given = {f"SHORTWAY_{name}": value for name, value in settings.items()}
    given |= {"SHORTWAY_WORKERS": str(workers)}
    with tempfile.NamedTemporaryFile() as errors:
        process = _begun(command, given, errors)  # type: ignore[arg-type]
        try:
            until(lambda: len(process.workers()) == workers, "its workers")
            yield process
        finally:
            if process.popen.poll() is None:
                process.popen.terminate()
            process.popen.wait(LONG)


def _begun(command: list[str], given: dict[str, str], errors: IO[bytes]) -> Process:
    """A service that is up; somebody else may take the port first, and then another is tried."""
    for _ in range(3):
        environment = os.environ | given | {"SHORTWAY_PORT": str(unused_port())}
        popen = subprocess.Popen(command, env=environment, stderr=errors)
        process = Process(popen, int(environment["SHORTWAY_PORT"]), errors)
        until(lambda: popen.poll() is not None or process.is_up(), "a service")  # noqa: B023
        if popen.poll() is None:
            return process
    raise AssertionError(process.log()[-3000:])
