"""Spans of OpenTelemetry, one for each request and one for each of its phases.

Knows the SDK, which is loaded only if SHORTWAY_TRACING asks for it, and is in no other module. A
request's spans are made when it has been answered, from the times that its course noted, so that
nothing waits for them meanwhile. They belong to the trace that ``traceparent`` names (W3C Trace
Context). Where they are sent is said by OpenTelemetry's own variables. A process makes its sender
with its first request: threads do not outlive a fork.
"""

from __future__ import annotations

import os
import time
from threading import Lock
from typing import TYPE_CHECKING, Any, Final

from flask import Flask

from shortway import __version__
from shortway.api.telemetry.request_instrumentation import NO_CALL, PROBES, Observer, RequestRecord
from shortway.config import ConfigurationError

if TYPE_CHECKING:
    from opentelemetry.context import Context
    from opentelemetry.sdk.trace import TracerProvider

EXTENSION: Final = "shortway-tracing"
MISSING_PACKAGE: Final = "SHORTWAY_TRACING=1 needs OpenTelemetry: pip install 'shortway[tracing]'"
_CONTEXT: Final = ("traceparent", "tracestate")
#: Milliseconds that a process which ends waits for its last spans to be taken.
_LAST: Final = 2000


def trace_observers(app: Flask) -> list[Observer]:
    """Whoever makes spans of `app`'s requests; nobody unless that is set.

    Raises
    ------
    ConfigurationError
        If it is set, and OpenTelemetry is not installed.
    """
    if not app.config["TRACING"]:
        return []
    try:
        from opentelemetry.exporter.otlp.proto.http import trace_exporter  # noqa: F401
        from opentelemetry.sdk import trace  # noqa: F401
    except ImportError:
        raise ConfigurationError(MISSING_PACKAGE) from None
    app.extensions[EXTENSION] = spans = Spans()
    return [Observer(spans.ended)]


class Spans:
    """Makes spans in whichever process it is called."""

    def __init__(self) -> None:
        self._of: tuple[int, TracerProvider] | None = None
        self._making = Lock()

    def ended(self, seen: RequestRecord) -> None:
        """Make the spans of a request that has been answered."""
        from opentelemetry.trace import SpanKind, Status, StatusCode, set_span_in_context

        if seen.call in PROBES:
            return
        tracer = self._provider().get_tracer("shortway", __version__)
        begin = time.time_ns() - int(seen.seconds * 1e9)

        def at(moment: float) -> int:
            return begin + int((moment - seen.course.started) * 1e9)

        name = seen.method if seen.template is None else f"{seen.method} {seen.template}"
        span = tracer.start_span(
            name, _parent(seen), SpanKind.SERVER, _attributes(seen), start_time=begin
        )
        within = set_span_in_context(span)
        for phase, start, end in seen.course.intervals:
            tracer.start_span(phase, within, start_time=at(start)).end(at(end))
        if seen.status >= 500:
            span.set_status(Status(StatusCode.ERROR))
        span.end(begin + int(seen.seconds * 1e9))
        seen.course.notes["trace_id"] = f"{span.get_span_context().trace_id:032x}"

    def _provider(self) -> TracerProvider:
        """This process's own."""
        with self._making:
            if self._of is None or self._of[0] != os.getpid():
                self._of = os.getpid(), _made()
            return self._of[1]

    def end(self) -> None:
        """Send what has not been sent."""
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


def _parent(seen: RequestRecord) -> Context:
    """The trace that the client has begun, if it says so."""
    from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator

    given = {name: seen.environ.get(f"HTTP_{name.upper()}", "") for name in _CONTEXT}
    return TraceContextTextMapPropagator().extract(given)


def _attributes(seen: RequestRecord) -> dict[str, Any]:
    """After OpenTelemetry's conventions for HTTP; nothing of what was asked."""
    notes = seen.course.notes
    found = {
        "http.request.method": seen.method if seen.method != "other" else "_OTHER",
        "http.route": seen.template,
        "http.response.status_code": seen.status,
        "http.request.body.size": notes.get("received"),
        "http.response.body.size": seen.sent,
        "error.type": str(seen.status) if seen.status >= 500 else None,
        "shortway.call": None if seen.call == NO_CALL else seen.call,
        "shortway.cached": notes.get("cached"),
        "shortway.problem": notes.get("problem"),
        "shortway.request_id": notes.get("request_id"),
    }
    return {name: value for name, value in found.items() if value is not None}
