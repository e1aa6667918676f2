"""Servers on a loopback thread: the real application, and one that misbehaves by script."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from random import SystemRandom
from typing import Any

from werkzeug.serving import WSGIRequestHandler, make_server

Script = Callable[["Handler"], None]


class _Silent(WSGIRequestHandler):
    def log(self, *_: object) -> None:
        """Say nothing."""


@contextmanager
def served(app: Any) -> Iterator[str]:
    """The base URL of `app` while it is served."""
    server = make_server("127.0.0.1", 0, app, threaded=True, request_handler=_Silent)
    with _running(server):
        yield f"http://127.0.0.1:{server.server_port}"


@contextmanager
def _running(server: Any) -> Iterator[None]:
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@dataclass(frozen=True)
class Seen:
    """A request as it arrived."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Faulty:
    """A scripted server: each request takes the next step of the script, the last one for ever."""

    script: list[Script]
    seen: list[Seen] = field(default_factory=list)
    url: str = ""

    def step(self) -> Script:
        return self.script[min(len(self.seen), len(self.script)) - 1]


class Handler(BaseHTTPRequestHandler):
    """One request of a scripted server."""

    protocol_version = "HTTP/1.1"
    faulty: Faulty

    def do_GET(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        headers = {key.lower(): value for key, value in self.headers.items()}
        self.seen = Seen(self.command, self.path, headers, body)
        self.faulty.seen.append(self.seen)
        self.faulty.step()(self)

    do_POST = do_GET  # noqa: N815 - the name that http.server asks for

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@contextmanager
def misbehaving(*script: Script) -> Iterator[Faulty]:
    """A server that follows `script`."""
    faulty = Faulty(list(script))
    handler = type("Scripted", (Handler,), {"faulty": faulty})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    faulty.url = f"http://127.0.0.1:{server.server_port}"
    with _running(server):
        yield faulty


def answer(
    status: int, body: bytes = b"", content_type: str = "application/json", **headers: str
) -> Script:
    """A step of a script: answer with this."""

    def step(handler: Handler) -> None:
        handler.send_response(status)
        handler.send_header("Content-Type", content_type)
        handler.send_header("Content-Length", str(len(body)))
        for name, value in headers.items():
            handler.send_header(name.replace("_", "-"), value)
        handler.end_headers()
        handler.wfile.write(body)

    return step


def truncated(body: bytes, missing: int) -> Script:
    """A step of a script: promise `missing` bytes more than are sent."""

    def step(handler: Handler) -> None:
        handler.send_response(200)
        handler.send_header("Content-Type", "application/json")
        handler.send_header("Content-Length", str(len(body) + missing))
        handler.end_headers()
        handler.wfile.write(body)
        handler.close_connection = True

    return step


def cut(handler: Handler) -> None:
    """A step of a script: close without a byte of answer."""
    handler.close_connection = True
    handler.connection.shutdown(socket.SHUT_RDWR)


def hanging(release: threading.Event) -> Script:
    """A step of a script: say nothing until `release` is set."""

    def step(handler: Handler) -> None:
        release.wait(10)
        handler.close_connection = True

    return step


def unused_port() -> int:
    """A port on which nobody listens, below those that the system gives to connections."""
    while True:
        port = SystemRandom().randrange(10_000, 32_768)
        with suppress(OSError), socket.create_server(("", port)):
            return port


def is_open(port: int) -> bool:
    """Whether somebody listens on a loopback port."""
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0
