"""The service as it is served: `shortway serve` in processes of its own, under gunicorn."""

from __future__ import annotations

import os
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager

from support.loopback import unused_port

#: Seconds that a start and a stop may take at most.
START, STOP = 120, 60


@contextmanager
def running(workers: int = 1, **environment: str) -> Iterator[str]:
    """The base URL of a service of its own; `environment` adds to this process's."""
    port = unused_port()
    command = [sys.executable, "-m", "shortway", "serve", "--port", str(port)]
    process = subprocess.Popen(
        [*command, "--workers", str(workers)], env={**os.environ, **environment}
    )
    try:
        url = f"http://127.0.0.1:{port}"
        _wait(process, url)
        yield url
    finally:
        process.terminate()
        process.wait(STOP)


def _wait(process: subprocess.Popen[bytes], url: str) -> None:
    """Until the service answers."""
    end = time.monotonic() + START
    while time.monotonic() < end and process.poll() is None:
        try:
            with urllib.request.urlopen(f"{url}/readyz", timeout=1):
                return
        except OSError:
            time.sleep(0.05)
    raise AssertionError("the service has not come up")
