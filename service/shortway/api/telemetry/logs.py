"""Logs: one JSON object a line, to standard error, for each request and each log record.

Knows the standard library's logging, whose records become lines of the same form.
Nothing is logged before `configure_logging`, which gunicorn's logger calls. No line holds a chart,
a symbol, a query or a token: a URL is logged as its route, an exception as its type and where it
was raised. Exception messages, which may quote a request, are logged at debug level only.
"""

import json
import logging
import os
import sys
import traceback
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any, Final

import orjson

from shortway.api.telemetry.request_instrumentation import PROBES, RequestRecord
from shortway.request_trace import PARSE, RENDERING, SEARCH, current_request

_FRAMES: Final = 8

#: The lowest level that is logged, once it is configured.
_least: int | None = None
Event = dict[str, Any]


def configure_logging(level: str) -> None:
    """Log to standard error, in this process and those forked from it.

    `level`: the lowest level that is logged, one of `shortway.config.LOG_LEVELS`.
    """
    global _least
    _least = getattr(logging, level.upper())
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_JsonFormatter())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(max(_least, logging.INFO))  # libraries are not logged at debug level
    logging.getLogger("shortway").setLevel(_least)


def _line(level: int, event: Event) -> bytes:
    """One line of JSON, whatever its values are."""
    event["level"] = logging.getLevelName(level).lower()
    event["time"] = datetime.now(UTC).isoformat().replace("+00:00", "Z")
    event["pid"] = os.getpid()
    try:
        return orjson.dumps(event, default=str)
    except TypeError:  # half a pair of surrogates
        return json.dumps(event, default=str).encode()


class _JsonFormatter(logging.Formatter):
    """The standard library's records in our form, with the id of the request under way."""

    def format(self, record: logging.LogRecord) -> str:
        """The record's line."""
        event: Event = {"event": record.getMessage(), "logger": record.name}
        if (state := current_request()) is not None:
            event["request_id"] = state.request_id
        if record.exc_info and record.exc_info[0] is not None:
            event |= _exception(*record.exc_info)
        return _line(record.levelno, event).decode()


def _exception(kind: Any, error: Any, trace: Any) -> Event:
    """An exception's type and where it was raised; its message, which may quote a chart, at debug.

    The innermost of the frames is the last one.
    """
    if _least == logging.DEBUG:
        return {"fault": "".join(traceback.format_exception(kind, error, trace))}
    frames = traceback.extract_tb(trace)[-_FRAMES:]
    places = [f"{'/'.join(f.filename.split('/')[-2:])}:{f.lineno} {f.name}" for f in frames]
    return {"fault": kind.__name__, "raised": places}


# --- requests ------------------------------------------------------------------------------------


def log_request(record: RequestRecord) -> None:
    """Log a request whose response has been sent."""
    level = _level_of(record)
    if _least is None or level < _least:
        return
    state, spent = record.state, record.state.trace.spent
    fields: Event = {
        "event": "request",
        "request_id": state.request_id,
        "call": state.operation,
        "method": record.method,
        "path": state.route,
        "status": record.status,
        "problem": state.problem,
        "ms": _ms(record.seconds),
        "ms_parse": _ms(spent.get(PARSE, 0.0)),
        "ms_search": _ms(spent.get(SEARCH, 0.0)),
        "ms_rendering": _ms(spent.get(RENDERING, 0.0)),
        "received": state.received,
        "sent": record.sent,
        "cached": state.is_cached,
        "client": state.client,
    }
    if state.batch is not None:
        fields["lines"] = asdict(state.batch)
    if record.trace_id is not None:
        fields["trace_id"] = record.trace_id
    if not record.is_complete:
        fields["broken_off"] = True
    sys.stderr.buffer.write(_line(level, fields) + b"\n")
    sys.stderr.buffer.flush()


def _level_of(record: RequestRecord) -> int:
    if record.status >= 500 and record.status != 503:
        return logging.ERROR
    if record.state.operation not in PROBES or record.status >= 400:
        return logging.INFO
    return logging.DEBUG


def _ms(seconds: float) -> float:
    return round(seconds * 1000, 3)
