"""The service under load: `shortway serve` in processes of its own, and what they take.

Knows Linux's /proc.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass

import psutil

from support.loopback import unused_port


@dataclass(frozen=True)
class Host:
    """A running service: its port, and the process above its workers."""

    port: int
    process: psutil.Process

    def workers(self) -> list[psutil.Process]:
        """The processes that answer."""
        return self.process.children()

    def memory(self) -> float:
        """Megabytes that its workers and their engravers hold, shared pages by their part (PSS)."""
        return sum(each.memory_full_info().pss for each in self._below()) / 1e6

    def processor(self) -> float:
        """Seconds of processor that its workers and their engravers have used."""
        return sum(sum(each.cpu_times()[:2]) for each in self._below())

    def _below(self) -> list[psutil.Process]:
        return self.process.children(recursive=True)


@contextmanager
def serving(workers: int, environment: Mapping[str, str] | None = None) -> Iterator[Host]:
    """A service on a free port, which is gone afterwards; its log goes into a file, and with it."""
    port = unused_port()
    command = [sys.executable, "-m", "shortway", "serve"]
    command += ["--port", str(port), "--workers", str(workers)]
    with tempfile.TemporaryFile() as log:
        process = subprocess.Popen(command, env={**os.environ, **(environment or {})}, stderr=log)
        host = Host(port, psutil.Process(process.pid))
        try:
            _wait(host, process, workers)
            yield host
        finally:
            process.terminate()
            process.wait(40)


def _wait(host: Host, process: subprocess.Popen[bytes], workers: int) -> None:
    for _ in range(600):
        if process.poll() is not None:
            break
        with socket.socket() as probe:
            listens = probe.connect_ex(("127.0.0.1", host.port)) == 0
        if listens and len(host.workers()) == workers:
            return
        time.sleep(0.05)
    raise SystemExit("the service has not come up")
