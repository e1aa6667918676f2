"""The app once, a client for each test, and the app on a real socket."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.serving import WSGIRequestHandler, make_server

from shortway.api import create_app


class Quiet(WSGIRequestHandler):
    """HTTP/1.1, so that bodies may come in chunks; no line for each request."""

    protocol_version = "HTTP/1.1"

    def log(self, type: str, message: str, *args: object) -> None:
        """Say nothing."""


@pytest.fixture(scope="session")
def app() -> Flask:
    return create_app()


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture(scope="session")
def address(app: Flask) -> Iterator[tuple[str, int]]:
    """Host and port of the app on a real socket."""
    server = make_server("127.0.0.1", 0, app, threaded=True, request_handler=Quiet)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield "127.0.0.1", server.server_port
    server.shutdown()
    thread.join()
    server.server_close()
