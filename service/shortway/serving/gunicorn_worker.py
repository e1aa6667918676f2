"""Gunicorn's threaded worker, whose own errors are problems like all others.

Knows gunicorn and the service's problems. A request that gunicorn cannot read (a URL that is too
long, a malformed header) does not reach the application; it is rejected here.
"""

from __future__ import annotations

import os
import random
import re
import socket
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any, Final

import orjson
from gunicorn import glogging, util
from gunicorn.http import wsgi

from shortway.api.http.problems import MEDIA_TYPE
from shortway.api.http.responses import API_VERSION, SECURITY_HEADERS, request_id_from
from shortway.api.middleware.cors import cors_headers
from shortway.api.telemetry import logs, metrics
from shortway.config import load_config
from shortway.serving.lasting import LastingWorker
from shortway.wire.problems import PROBLEMS, problem

#: Seconds after which to retry, drawn for each, so that clients do not retry all at once.
RETRY_AFTER = (1, 2, 3)


#: The Server header of every response.
SERVER = "shortway"
_ID: Final = re.compile(rb"\r\nx-request-id:[ \t]*(\S+)[ \t]*\r\n", re.IGNORECASE)
_ORIGIN: Final = re.compile(rb"\r\norigin:[ \t]*(\S+)[ \t]*\r\n", re.IGNORECASE)
#: How gunicorn's log lines begin that quote a request.
_QUOTES: Final = "Invalid request from ip="
_FAULT: Final = "Error handling request"


class Logger(glogging.Logger):  # type: ignore[misc]
    """Gunicorn's logger, which writes the service's log."""

    def setup(self, cfg: Any) -> None:
        """Configure the service's log."""
        super().setup(cfg)
        logs.configure_logging(cfg.loglevel)
        self.error_log.propagate = True

    def warning(self, msg: str, *args: Any, **named: Any) -> None:
        """Log a warning; what quotes a request is logged at debug level."""
        say = self.debug if msg.startswith(_QUOTES) else super().warning
        say(msg, *args, **named)

    def exception(self, msg: str, *args: Any, **named: Any) -> None:
        """Log an exception without the URL, which has the query."""
        if msg.startswith(_FAULT):
            msg, args = _FAULT, ()
        super().exception(msg, *args, **named)


class Worker(LastingWorker):
    """The lasting worker, with problems in place of gunicorn's HTML pages."""

    def init_process(self) -> None:
        """Replace gunicorn's error pages, then start."""
        util.write_error, wsgi.SERVER = self.refuse, SERVER
        given = load_config(os.environ)
        self.most_waiting, self.deadline = given.most_waiting, given.deadline_seconds
        self.most_body, self.origins = given.max_body_kb * 1024, given.cors_origins
        super().init_process()

    def refuse(
        self, sock: socket.socket, status: int, reason: str, message: str, begun: bytes = b""
    ) -> None:
        """Reject a request that does not reach the application; count and log it.

        One that would wait too long is only counted: many log lines would cost too much.
        """
        problem = problem_for_status(status, reason, message)
        request_id = request_id_from(header_value(begun, _ID) or "")
        if (counts := self.wsgi.extensions.get(metrics.EXTENSION)) is not None:
            counts.request_rejected(status, problem["code"])
        if status != HTTPStatus.SERVICE_UNAVAILABLE:
            logs.log_rejected(status, problem["code"], request_id)
        more = cors_headers(header_value(begun, _ORIGIN), self.origins) if self.origins else {}
        util.write_nonblock(sock, raw_response(problem, reason, request_id, more))


def header_value(begun: bytes, header: re.Pattern[bytes]) -> str | None:
    """A header's value, from as much of the head as has arrived.

    >>> header_value(b"GET / HTTP/1.1\\r\\norigin: https://app.example\\r\\nHost: x\\r\\n", _ORIGIN)
    'https://app.example'
    """
    end = begun.find(b"\r\n\r\n")
    found = header.search(begun, 0, end + 2 if end >= 0 else len(begun))
    return found[1].decode("latin-1") if found else None


def raw_response(
    problem: dict[str, Any], reason: str, request_id: str, more: Mapping[str, str]
) -> bytes:
    """`problem` as a response with `more` headers, after which the connection closes."""
    status, body = problem["status"], orjson.dumps(problem)
    later = f"Retry-After: {random.choice(RETRY_AFTER)}\r\n" if status == 503 else ""
    lines = "".join(f"{name}: {value}\r\n" for name, value in {**SECURITY_HEADERS, **more}.items())
    head = (
        f"HTTP/1.1 {status} {reason}\r\n"
        "Connection: close\r\n"
        f"Content-Type: {MEDIA_TYPE}\r\n"
        f"Content-Length: {len(body)}\r\n"
        "Cache-Control: no-store\r\n"
        f"API-Version: {API_VERSION}\r\n"
        f"{lines}"
        f"X-Request-Id: {request_id}\r\n"
        f"{later}"
        "\r\n"
    )
    return head.encode("latin-1") + body


def problem_for_status(status: int, reason: str, message: str) -> dict[str, Any]:
    """The problem of an HTTP status: the table's code and title where it has them."""
    codes = [code for code, (known, _) in PROBLEMS.items() if known == status]
    code = codes[0] if codes else "bad-request" if status < 500 else "internal-error"
    title = PROBLEMS[code][1] if codes else HTTPStatus(status).phrase
    return problem(code, message or reason) | {"status": status, "title": title}
