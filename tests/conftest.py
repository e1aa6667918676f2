"""The app, a client for each test, the OpenAPI document, the app on a socket, the service."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.serving import WSGIRequestHandler, make_server

from shortway.api import create_app
from support.running import running

#: Runs beside a client that only conformance/test_clients.py generates.
collect_ignore = ["conformance/clients/use.py"]


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


@pytest.fixture(scope="session")
def document(app: Flask) -> dict[str, Any]:
    """The OpenAPI document as the service hands it out."""
    found: dict[str, Any] = json.loads(app.test_client().get("/openapi.json").data)
    return found


@pytest.fixture(scope="session")
def url() -> Iterator[str]:
    """Where the service runs, under gunicorn."""
    with running() as address:
        yield address
