"""The document and the app, once."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from shortway.api import create_app
from support.running import running

#: Runs beside a client that only test_clients.py generates.
collect_ignore = ["clients/use.py"]


@pytest.fixture(scope="session")
def app() -> Flask:
    return create_app()


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture(scope="session")
def document(app: Flask) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(app.test_client().get("/openapi.json").data)
    return found


@pytest.fixture(scope="session")
def url() -> Iterator[str]:
    """Where the service runs, under gunicorn."""
    with running() as address:
        yield address
