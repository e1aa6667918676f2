"""What runs when, and what many tests share: app, client, OpenAPI document, running service."""

from __future__ import annotations

import json
import os
import runpy
import signal
import threading
import traceback
from collections.abc import Generator, Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.serving import WSGIRequestHandler, make_server

from shortway.api import create_app
from support.running import running

HERE = Path(__file__).parent

#: Folders whose tests have a marker, and so are left out of plain `pytest`.
MARKERS = {
    "attack": "slow",
    "bench": "load",
    "browser": "browser",
    "conformance": "conformance",
    "containers": "image",
    "fuzz": "fuzz",
}

#: Tests that need a library of the [dev] extra. Where it is not installed they are left out, unless
#: SHORTWAY_NEED_PEERS is set. Those outside the folders above are marked `peer`.
LIBRARIES = {
    "api/resources/test_exercises.py": ("music21",),
    "api/telemetry/test_tracing.py": ("opentelemetry",),
    "batch/test_cluster.py": ("distributed",),
    "batch/test_resuming.py": ("psutil", "pyarrow"),
    "batch/test_table.py": ("pyarrow",),
    "bench": ("psutil",),
    "browser": ("axe_selenium_python", "selenium", "websocket"),
    "conformance": ("schemathesis",),
    "containers": ("compose_spec", "kubernetes_validate", "redis", "yaml"),
    "core/exercises/test_formula.py": ("music21",),
    "core/harmony/test_transposition.py": ("music21",),
    "core/theory/test_enharmonics.py": ("music21",),
    "docs/test_samples.py": ("music21",),
    "reference/test_chord_times.py": ("mir_eval",),
    "reference/test_melody.py": ("music21",),
    "reference/test_motion.py": ("scipy",),
    "reference/test_reviews.py": ("harte", "music21", "scipy"),
    "reference/test_roughness.py": ("scipy",),
    "reference/test_symbols.py": ("harte", "mir_eval", "music21"),
    "scores/chart_files/test_music21_formats.py": ("music21",),
    "scores/leadsheet/test_playback_order.py": ("music21",),
    "scores/leadsheet/test_reader.py": ("music21",),
    "scores/midi/test_tracks.py": ("music21",),
    "scores/notation/test_musicxml.py": ("music21", "musicxml", "xmlschema"),
    "scores/notation/test_part_insertion.py": ("music21", "musicxml", "xmlschema"),
    "scores/notation/test_rhythm.py": ("music21", "musicxml", "xmlschema"),
    "scores/pictures/test_staff.py": ("music21", "psutil"),
    "scores/test_independent_readers.py": ("music21", "musicxml", "xmlschema"),
    "sdk/test_generated.py": ("ruff",),
    "sdk/test_music21_score.py": ("music21", "musicxml", "xmlschema"),
    "serving/test_faults.py": ("redis",),
}

#: Files that take longest, those first; a file's tests run in one process, one after another.
LONGEST = (
    "conformance/test_service.py", "batch/test_resuming.py", "core/voicings/test_candidates.py",
    "conformance/test_clients.py", "browser/test_access.py", "serving/test_faults.py",
    "attack/test_slow_clients.py", "batch/test_cluster.py", "scores/pictures/test_staff.py",
    "browser/test_views.py", "browser/test_docs.py", "browser/test_player.py",
    "containers/test_topology.py", "fuzz/test_laws.py", "batch/test_command.py",
    "reference/test_paths.py", "attack/test_greedy_clients.py", "serving/test_served.py",
    "serving/test_endings.py",
)  # fmt: skip

# The laws take twenty drawn inputs each, always the same; with --hypothesis-profile=many 120, and
# with --hypothesis-profile=new a thousand that are drawn anew.
_DRAWN = {"deadline": None, "suppress_health_check": [hypothesis.HealthCheck.too_slow]}
hypothesis.settings.register_profile("few", max_examples=20, derandomize=True, **_DRAWN)
hypothesis.settings.register_profile("many", max_examples=120, derandomize=True, **_DRAWN)
hypothesis.settings.register_profile("new", max_examples=1000, **_DRAWN)
hypothesis.settings.load_profile("few")

# Tests interrupt processes that they start, which would inherit that a shell in the background has
# interrupts ignored.
signal.signal(signal.SIGINT, signal.default_int_handler)


def _missing(path: str) -> list[str]:
    """The libraries that the tests at `path` need and that are not installed."""
    return [name for name in LIBRARIES.get(path, ()) if find_spec(name) is None]


def pytest_ignore_collect(collection_path: Path) -> bool | None:
    """Leave out what is no test, and tests whose libraries are not installed."""
    if collection_path.suffix == ".py" and not collection_path.name.startswith("test_"):
        return True
    path = collection_path.relative_to(HERE).as_posix()
    return True if _missing(path) and not os.environ.get("SHORTWAY_NEED_PEERS") else None


#: How pytest's doctests say that a file is left out.
_UNREAD = "unable to import module"


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(
    collector: pytest.Collector,
) -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """A test file that cannot be imported fails; the option about doctests would skip it."""
    report = yield
    if report.skipped and collector.path.is_relative_to(HERE) and _UNREAD in str(report.longrepr):
        report.outcome = "failed"
        try:
            runpy.run_path(str(collector.path))
        except Exception:
            report.longrepr = traceback.format_exc()
    return report


def pytest_report_header() -> list[str]:
    """Name what is left out for want of a library."""
    left = {path: names for path in LIBRARIES if (names := _missing(path))}
    return [f"left out: {path} (needs {', '.join(names)})" for path, names in left.items()]


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark tests by their folder and by the libraries that they need; the longest are first."""
    rank = {HERE / path: place for place, path in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.path, len(rank)))
    for item in items:
        if item.path.is_relative_to(HERE):
            path = item.path.relative_to(HERE)
            if marker := MARKERS.get(path.parts[0]):
                item.add_marker(marker)
            elif path.as_posix() in LIBRARIES:
                item.add_marker("peer")


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
