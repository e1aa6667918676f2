"""Logs: one JSON object a line, to standard error, for each request and for all else that is told.

Knows structlog and the standard library's logging, whose records become lines of the same form.
Nothing is logged before `configure_logging`, which gunicorn's logger calls. No line holds a chart,
a symbol, a query or a token: a URL is logged as its route, an exception as its type and where it
was raised. Exception messages, which may quote a request, are logged at debug level only.
"""

from __future__ import annotations

import json
import logging
import os
import sys
import traceback
from collections.abc import Callable, Iterator
from dataclasses import asdict
from typing import Any, Final

import orjson
import structlog
from structlog.typing import EventDict, FilteringBoundLogger, WrappedLogger

from shortway.api.middleware.authentication import ASKER
from shortway.api.telemetry.request_instrumentation import PROBES, Observer, RequestRecord
from shortway.request_trace import PARSE, RENDERING, SEARCH, noted

_FRAMES: Final = 8

#: Where requests are told, once that is set up.
_log: FilteringBoundLogger | None = None


def configure_logging(level: str) -> None:
    """Send all that is logged in this process, and those forked from it, to standard error.

    Parameters
    ----------
    level : str
        The least that is told, one of `shortway.config.LOG_LEVELS`.
    """
    global _log
    least: int = getattr(logging, level.upper())
    stamp = structlog.processors.TimeStamper(fmt="iso", utc=True, key="time")
    common: list[Any] = [structlog.processors.add_log_level, stamp, _process]
    _log = structlog.wrap_logger(
        structlog.BytesLogger(sys.stderr.buffer),
        processors=[*common, _dumped],
        wrapper_class=structlog.make_filtering_bound_logger(least),
    ).bind()  # once, and not for each line
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_formatter([*common, structlog.stdlib.add_logger_name], least))
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(max(least, logging.INFO))  # libraries have little to tell below
    logging.getLogger("shortway").setLevel(least)


def _formatter(common: list[Any], least: int) -> logging.Formatter:
    """The standard library's records in our form."""
    fault = _fault_in_full if least <= logging.DEBUG else _fault
    cut = structlog.stdlib.ProcessorFormatter.remove_processors_meta
    return structlog.stdlib.ProcessorFormatter(
        processors=[*common, _request, fault, cut, lambda *event: _dumped(*event).decode()],
    )


def _process(logger: WrappedLogger, method: str, event: EventDict) -> EventDict:
    event["pid"] = os.getpid()
    return event


def _request(logger: WrappedLogger, method: str, event: EventDict) -> EventDict:
    """Which request was under way."""
    if request_id := noted("request_id"):
        event["request_id"] = request_id
    return event


def _fault(logger: WrappedLogger, method: str, event: EventDict) -> EventDict:
    """The type of a fault and where it was raised; its words may be somebody's chart."""
    kind, _, trace = event.pop("exc_info", None) or (None, None, None)
    if kind is not None:
        event["fault"] = kind.__name__
        event["raised"] = list(_places(trace))
    return event


def _places(trace: Any) -> Iterator[str]:
    """Where a fault was raised, the innermost place last."""
    for frame in traceback.extract_tb(trace)[-_FRAMES:]:
        yield f"{'/'.join(frame.filename.split('/')[-2:])}:{frame.lineno} {frame.name}"


def _fault_in_full(logger: WrappedLogger, method: str, event: EventDict) -> EventDict:
    """A fault as Python tells it."""
    if (found := event.pop("exc_info", None)) and found[0] is not None:
        event["fault"] = "".join(traceback.format_exception(*found))
    return event


def _dumped(logger: WrappedLogger, method: str, event: EventDict) -> bytes:
    """One line of JSON, whatever is in it."""
    try:
        return orjson.dumps(event, default=str)
    except TypeError:  # half a pair of surrogates
        return json.dumps(event, default=str).encode()


# --- requests ------------------------------------------------------------------------------------


def log_observer() -> Observer:
    """Whoever tells of requests."""
    return Observer(log_request)


def log_request(seen: RequestRecord) -> None:
    """Tell of a request that has been answered."""
    say = _say(seen)
    if say is None:
        return
    notes, spent = seen.course.notes, seen.course.spent
    fields: dict[str, Any] = {
        "request_id": notes.get("request_id"),
        "call": seen.call,
        "method": seen.method,
        "path": seen.template,
        "status": seen.status,
        "problem": notes.get("problem"),
        "ms": _ms(seen.seconds),
        "ms_parse": _ms(spent.get(PARSE, 0.0)),
        "ms_search": _ms(spent.get(SEARCH, 0.0)),
        "ms_rendering": _ms(spent.get(RENDERING, 0.0)),
        "received": notes.get("received", 0),
        "sent": seen.sent,
        "cached": notes.get("cached", False),
        "asker": seen.environ.get(ASKER),
    }
    if (counts := notes.get("lines")) is not None:
        fields["lines"] = asdict(counts)
    if (trace_id := notes.get("trace_id")) is not None:
        fields["trace_id"] = trace_id
    if not seen.whole:
        fields["broken_off"] = True
    say("request", **fields)


def _say(seen: RequestRecord) -> Callable[..., Any] | None:
    """How a request is told; None where it is not."""
    if _log is None:
        return None
    if seen.status >= 500 and seen.status != 503:
        return _log.error
    if seen.call not in PROBES or seen.status >= 400:
        return _log.info if _log.is_enabled_for(logging.INFO) else None
    return _log.debug if _log.is_enabled_for(logging.DEBUG) else None


def _ms(seconds: float) -> float:
    return round(seconds * 1000, 3)


def log_rejected(status: int, code: str, request_id: str) -> None:
    """Tell of a request that the server could not read."""
    if _log is not None:
        _log.info("request", request_id=request_id, call="none", status=status, problem=code)
