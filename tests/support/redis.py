"""A real redis-server on a free loopback port, which a test may stop and start again."""

from __future__ import annotations

import os
import shutil
import socket
import socketserver
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import pytest

from support.loopback import is_open, unused_port

SERVER = shutil.which("redis-server")


@dataclass
class Redis:
    """The server; what it holds is gone when it stops."""

    port: int
    folder: Path
    process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def start(self) -> None:
        """Start, and wait until it listens."""
        assert SERVER is not None
        options = ["--bind", "127.0.0.1", "--save", "", "--dir", str(self.folder)]
        self.process = subprocess.Popen(
            [SERVER, "--port", str(self.port), *options], stdout=subprocess.DEVNULL
        )
        while not is_open(self.port):
            assert self.process.poll() is None
            time.sleep(0.02)

    def stop(self) -> None:
        """Stop at once, as a machine that is switched off."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None


@contextmanager
def running_redis(folder: Path) -> Iterator[Redis]:
    """A server of its own; without redis-server the test skips, or fails if it is needed."""
    if SERVER is None:
        missing = "no redis-server here"
        if os.environ.get("SHORTWAY_NEED_REDIS"):
            pytest.fail(f"{missing}, and SHORTWAY_NEED_REDIS asks for it")
        pytest.skip(missing)
    redis = Redis(unused_port(), folder)
    redis.start()
    try:
        yield redis
    finally:
        redis.stop()


@contextmanager
def delayed(port: int, delay: float) -> Iterator[int]:
    """A port that leads to `port`, from which all that comes back is `delay` seconds late."""

    class Relay(socketserver.BaseRequestHandler):
        def handle(self) -> None:
            with socket.create_connection(("127.0.0.1", port)) as far:
                threading.Thread(target=self.back, args=(far,), daemon=True).start()
                while data := self.request.recv(65536):
                    far.sendall(data)

        def back(self, far: socket.socket) -> None:
            with suppress(OSError):
                while data := far.recv(65536):
                    time.sleep(delay)
                    self.request.sendall(data)

    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Relay) as server:
        server.daemon_threads = True
        threading.Thread(target=server.serve_forever, daemon=True).start()
        try:
            yield server.server_address[1]
        finally:
            server.shutdown()
