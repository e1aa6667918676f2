"""Spans, as a receiver of OTLP over HTTP on the loopback gets them from a served process.

Sources: the OTLP messages of opentelemetry-proto; W3C Trace Context for ``traceparent``; the names
of OpenTelemetry's conventions for HTTP spans.
"""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from typing import Any

import pytest
from flask.testing import FlaskClient
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest

from shortway.api import create_app
from shortway.api.telemetry.tracing import EXTENSION, MISSING_PACKAGE
from support.processes import Process, serving, until

TRACE = "4bf92f3577b34da6a3ce929d0e0e4736"
PARENT = "00f067aa0ba902b7"
PATH = {"chart": {"text": "title: Nobodys Secret\n| Dm7 | G7 |"}}


class Receiver(ThreadingHTTPServer):
    """Takes spans, and keeps them by name of their service."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Taking)
        self.raw: list[bytes] = []

    def spans(self) -> list[Any]:
        requests = [ExportTraceServiceRequest.FromString(raw) for raw in self.raw]
        scopes = [s for r in requests for of in r.resource_spans for s in of.scope_spans]
        return [span for scope in scopes for span in scope.spans]


class Taking(BaseHTTPRequestHandler):
    server: Receiver

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        packed = self.headers.get("Content-Encoding") == "gzip"
        self.server.raw.append(gzip.decompress(body) if packed else body)
        self.send_response(200)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@contextmanager
def receiving() -> Iterator[Receiver]:
    receiver = Receiver()
    thread = Thread(target=receiver.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield receiver
    finally:
        receiver.shutdown()
        thread.join()
        receiver.server_close()


@contextmanager
def traced(
    monkeypatch: pytest.MonkeyPatch, workers: int, every_ms: int = 50
) -> Iterator[tuple[Process, Receiver]]:
    with receiving() as receiver:
        url = f"http://127.0.0.1:{receiver.server_port}"
        monkeypatch.setenv("OTEL_EXPORTER_OTLP_ENDPOINT", url)
        monkeypatch.setenv("OTEL_BSP_SCHEDULE_DELAY", str(every_ms))
        with serving(workers=workers, TRACING="1") as service:
            yield service, receiver


def attributes(span: Any) -> dict[str, Any]:
    return {a.key: getattr(a.value, a.value.WhichOneof("value")) for a in span.attributes}


def test_a_request_is_a_span_of_its_clients_trace_and_its_phases_lie_within(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with traced(monkeypatch, workers=1) as (service, receiver):
        headers = {"traceparent": f"00-{TRACE}-{PARENT}-01", "X_Request_Id": "mine"}
        service.ask("/v1/paths", PATH, **headers)
        until(lambda: len(receiver.spans()) >= 4, "spans")
        mine = [span for span in receiver.spans() if span.trace_id.hex() == TRACE]
        [server] = [span for span in mine if span.name == "POST /v1/paths"]
        assert server.parent_span_id.hex() == PARENT
        assert server.kind == server.SPAN_KIND_SERVER
        assert attributes(server).items() >= {
            ("http.request.method", "POST"), ("http.route", "/v1/paths"),
            ("http.response.status_code", 200), ("shortway.request_id", "mine"),
            ("shortway.cached", False),
        }  # fmt: skip
        phases = [span for span in mine if span.parent_span_id == server.span_id]
        assert {span.name for span in phases} == {"parse", "search", "rendering"}
        for span in phases:
            begin, end = server.start_time_unix_nano, server.end_time_unix_nano
            assert begin <= span.start_time_unix_nano <= span.end_time_unix_nano <= end
        assert not [raw for raw in receiver.raw if b"Secret" in raw or b"Dm7" in raw]
        told = [json.loads(line) for line in service.log().rpartition("\n")[0].splitlines()]
        assert [line["trace_id"] for line in told if line.get("request_id") == "mine"] == [TRACE]


def test_every_worker_sends_and_none_keeps_spans_when_it_ends(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with traced(monkeypatch, workers=2, every_ms=60_000) as (service, receiver):
        for k in range(20):
            service.ask(f"/v1/chords?symbol=Secret{k}")
        assert service.stop() == 0
        found = [span for span in receiver.spans() if span.name == "GET /v1/chords"]
        assert len(found) == 20
        assert len({span.trace_id for span in found}) == 20
        assert {attributes(span)["shortway.problem"] for span in found} == {"symbol-unreadable"}
        assert not [raw for raw in receiver.raw if b"Secret" in raw]


def test_without_the_packages_the_start_stops_with_a_line() -> None:
    hidden = "import sys; sys.modules['opentelemetry.sdk'] = None"
    with pytest.raises(AssertionError) as caught, serving(before=hidden, TRACING="1"):
        pass
    assert set(str(caught.value).splitlines()) == {f"Error: {MISSING_PACKAGE}"}


def test_nothing_is_traced_unless_it_is_set() -> None:
    app = create_app()
    client: FlaskClient = app.test_client()
    assert client.get("/healthz").status_code == 200
    assert EXTENSION not in app.extensions
