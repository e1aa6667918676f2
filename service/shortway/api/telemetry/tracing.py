"""Spans of OpenTelemetry, one for each request and one for each of its phases.

Knows the SDK, which is imported only with SHORTWAY_TRACING=1 and by no other module. Spans are made
once a response has been sent, from its `RequestTrace`, so that no request waits for them. They
belong to the trace of ``traceparent`` (W3C Trace Context). OpenTelemetry's own variables configure
the exporter. A process makes its exporter with its first request: threads do not survive a fork.
"""

from __future__ import annotations

import os
import time
from threading import Lock
from typing import TYPE_CHECKING, Any, Final

from flask import Flask

from shortway import __version__
from shortway.api.telemetry.request_instrumentation import PROBES, Observer, RequestRecord
from shortway.config import ConfigurationError

if TYPE_CHECKING:
    from opentelemetry.context import Context
    from opentelemetry.sdk.trace import TracerProvider

EXTENSION: Final = "shortway-tracing"
MISSING_PACKAGE: Final = "SHORTWAY_TRACING=1 needs OpenTelemetry: pip install 'shortway[tracing]'"
_CONTEXT: Final = ("traceparent", "tracestate")
#: Milliseconds that a process waits at its end for its last spans to be exported.
_LAST: Final = 2000


def trace_observers(app: Flask) -> list[Observer]:
    """The observer that makes spans of `app`'s requests; none unless ``TRACING`` is set.

    Raises ConfigurationError if it is set, and OpenTelemetry is not installed.
    """
    if not app.config["TRACING"]:
        return []
    try:
        from opentelemetry.exporter.otlp.proto.http import trace_exporter  # noqa: F401
        from opentelemetry.sdk import trace  # noqa: F401
    except ImportError:
        raise ConfigurationError(MISSING_PACKAGE) from None
    app.extensions[EXTENSION] = spans = Spans()
    return [Observer(spans.request_finished)]


class Spans:
    """Makes spans, in whichever process it is called."""

    def __init__(self) -> None:
        self._of: tuple[int, TracerProvider] | None = None
        self._making = Lock()

    def request_finished(self, record: RequestRecord) -> None:
        """Make the spans of a request whose response has been sent."""
        from opentelemetry.trace import SpanKind, Status, StatusCode, set_span_in_context

        state = record.state
        if state.operation in PROBES:
            return
        tracer = self._provider().get_tracer("shortway", __version__)
        begin = time.time_ns() - int(record.seconds * 1e9)

        def at(moment: float) -> int:
            return begin + int((moment - state.trace.started) * 1e9)

        name = record.method if state.route is None else f"{record.method} {state.route}"
        span = tracer.start_span(
            name, _parent(record), SpanKind.SERVER, _attributes(record), start_time=begin
        )
        within = set_span_in_context(span)
        for phase, start, end in state.trace.intervals:
            tracer.start_span(phase, within, start_time=at(start)).end(at(end))
        if record.status >= 500:
            span.set_status(Status(StatusCode.ERROR))
        span.end(begin + int(record.seconds * 1e9))
        record.trace_id = f"{span.get_span_context().trace_id:032x}"

    def _provider(self) -> TracerProvider:
        """The provider of this process."""
        with self._making:
            if self._of is None or self._of[0] != os.getpid():
                self._of = os.getpid(), _made()
            return self._of[1]

    def end(self) -> None:
        """Export the remaining spans."""
        if self._of is not None and self._of[0] == os.getpid():
            self._of[1].force_flush(_LAST)


def _made() -> TracerProvider:
    from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter
    from opentelemetry.sdk.resources import Resource
    from opentelemetry.sdk.trace import TracerProvider
    from opentelemetry.sdk.trace.export import BatchSpanProcessor

    named = {"service.name": "shortway"} if "OTEL_SERVICE_NAME" not in os.environ else {}
    resource = Resource.create({"service.version": __version__, **named})
    provider = TracerProvider(resource=resource, shutdown_on_exit=False)
    provider.add_span_processor(BatchSpanProcessor(OTLPSpanExporter()))
    return provider


def _parent(record: RequestRecord) -> Context:
    """The client's trace, if it sent one."""
    from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator

    given = {name: record.environ.get(f"HTTP_{name.upper()}", "") for name in _CONTEXT}
    return TraceContextTextMapPropagator().extract(given)


def _attributes(record: RequestRecord) -> dict[str, Any]:
    """Attributes by OpenTelemetry's conventions for HTTP; nothing of the request's content."""
    state = record.state
    found = {
        "http.request.method": record.method if record.method != "other" else "_OTHER",
        "http.route": state.route,
        "http.response.status_code": record.status,
        "http.request.body.size": state.received,
        "http.response.body.size": record.sent,
        "error.type": str(record.status) if record.status >= 500 else None,
        "shortway.call": None if state.operation == "none" else state.operation,
        "shortway.cached": state.is_cached,
        "shortway.problem": state.problem,
        "shortway.request_id": state.request_id,
    }
    return {name: value for name, value in found.items() if value is not None}
