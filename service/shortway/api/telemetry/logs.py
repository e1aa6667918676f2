"""Logs: one JSON object a line, to standard error, for each request and each log record.

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

from shortway.api.telemetry.request_instrumentation import PROBES, Observer, RequestRecord
from shortway.request_trace import PARSE, RENDERING, SEARCH, current_request

_FRAMES: Final = 8

#: The logger of requests, once it is configured.
_log: FilteringBoundLogger | None = None


def configure_logging(level: str) -> None:
    """Log to standard error, in this process and those forked from it.

    Parameters
    ----------
    level : str
        The lowest level that is logged, one of `shortway.config.LOG_LEVELS`.
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
    root.setLevel(max(least, logging.INFO))  # libraries are not logged at debug level
    logging.getLogger("shortway").setLevel(least)


def _formatter(common: list[Any], least: int) -> logging.Formatter:
    """The standard library's records in our form."""
    fault = _exception_in_full if least <= logging.DEBUG else _exception
    cut = structlog.stdlib.ProcessorFormatter.remove_processors_meta
    return structlog.stdlib.ProcessorFormatter(
        processors=[*common, _request, fault, cut, lambda *event: _dumped(*event).decode()]
    )


def _process(logger: WrappedLogger, method: str, event: EventDict) -> EventDict:
    event["pid"] = os.getpid()
    return event


def _request(logger: WrappedLogger, method: str, event: EventDict) -> EventDict:
    """Add the id of the request under way."""
    if (state := current_request()) is not None:
        event["request_id"] = state.request_id
    return event


def _exception(logger: WrappedLogger, method: str, event: EventDict) -> EventDict:
    """Replace an exception by its type and where it was raised; its message may quote a chart."""
    kind, _, trace = event.pop("exc_info", None) or (None, None, None)
    if kind is not None:
        event["fault"] = kind.__name__
        event["raised"] = list(_places(trace))
    return event


def _places(trace: Any) -> Iterator[str]:
    """Where an exception was raised, the innermost frame last."""
    for frame in traceback.extract_tb(trace)[-_FRAMES:]:
        yield f"{'/'.join(frame.filename.split('/')[-2:])}:{frame.lineno} {frame.name}"


def _exception_in_full(logger: WrappedLogger, method: str, event: EventDict) -> EventDict:
    """Replace an exception by its traceback."""
    if (found := event.pop("exc_info", None)) and found[0] is not None:
        event["fault"] = "".join(traceback.format_exception(*found))
    return event


def _dumped(logger: WrappedLogger, method: str, event: EventDict) -> bytes:
    """One line of JSON, whatever its values are."""
    try:
        return orjson.dumps(event, default=str)
    except TypeError:  # half a pair of surrogates
        return json.dumps(event, default=str).encode()


# --- requests ------------------------------------------------------------------------------------


def log_observer() -> Observer:
    """The observer that logs requests."""
    return Observer(log_request)


def log_request(record: RequestRecord) -> None:
    """Log a request whose response has been sent."""
    log = _logger_for(record)
    if log is None:
        return
    state, spent = record.state, record.state.trace.spent
    fields: dict[str, Any] = {
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
    log("request", **fields)


def _logger_for(record: RequestRecord) -> Callable[..., Any] | None:
    """The method that logs a request at its level; None where that is not logged."""
    if _log is None:
        return None
    if record.status >= 500 and record.status != 503:
        return _log.error
    if record.state.operation not in PROBES or record.status >= 400:
        return _log.info if _log.is_enabled_for(logging.INFO) else None
    return _log.debug if _log.is_enabled_for(logging.DEBUG) else None


def _ms(seconds: float) -> float:
    return round(seconds * 1000, 3)
