"""Gunicorn's threaded worker, whose own refusals are problems like all others.

Knows gunicorn and the service's problems. A request that gunicorn cannot read (an address too
long, a header that is none) never reaches the application; it is answered here.
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

#: Seconds after which to ask again, drawn for each, so that a crowd does not come back as one.
RETRY_AFTER = (1, 2, 3)


#: What stands for the server's name and version in every answer.
SERVER = "shortway"
_ID: Final = re.compile(rb"\r\nx-request-id:[ \t]*(\S+)[ \t]*\r\n", re.IGNORECASE)
_ORIGIN: Final = re.compile(rb"\r\norigin:[ \t]*(\S+)[ \t]*\r\n", re.IGNORECASE)
#: How lines of gunicorn's begin that say what was asked.
_QUOTES: Final = "Invalid request from ip="
_FAULT: Final = "Error handling request"


class Logger(glogging.Logger):  # type: ignore[misc]
    """Gunicorn's logger, whose lines are the service's."""

    def setup(self, cfg: Any) -> None:
        """Set up the service's log, and hand all to it."""
        super().setup(cfg)
        logs.configure_logging(cfg.loglevel)
        self.error_log.propagate = True

    def warning(self, msg: str, *args: Any, **named: Any) -> None:
        """As it is; what quotes a request is told at ``debug``, `Worker.refuse` tells of it."""
        say = self.debug if msg.startswith(_QUOTES) else super().warning
        say(msg, *args, **named)

    def exception(self, msg: str, *args: Any, **named: Any) -> None:
        """As it is, without the address asked for, which has the query."""
        if msg.startswith(_FAULT):
            msg, args = _FAULT, ()
        super().exception(msg, *args, **named)


class Worker(LastingWorker):
    """The worker that lasts, with problems in place of gunicorn's pages of HTML."""

    def init_process(self) -> None:
        """Take over the writing of errors, then go on."""
        util.write_error, wsgi.SERVER = self.refuse, SERVER
        given = load_config(os.environ)
        self.most_waiting, self.deadline = given.most_waiting, given.deadline_seconds
        self.most_body, self.origins = given.max_body_kb * 1024, given.cors_origins
        super().init_process()

    def refuse(
        self, sock: socket.socket, status: int, reason: str, message: str, begun: bytes = b""
    ) -> None:
        """Answer a request that does not reach the application; count it and tell of it.

        One that has to wait too long is only counted: where there are many, lines cost too much.
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
    """What a request says in a header, by as much of its head as is there.

    >>> header_value(b"GET / HTTP/1.1\\r\\norigin: https://app.example\\r\\nHost: x\\r\\n", _ORIGIN)
    'https://app.example'
    """
    end = begun.find(b"\r\n\r\n")
    found = header.search(begun, 0, end + 2 if end >= 0 else len(begun))
    return found[1].decode("latin-1") if found else None


def raw_response(
    problem: dict[str, Any], reason: str, request_id: str, more: Mapping[str, str]
) -> bytes:
    """`problem` as an answer, with `more` headers, which says that the connection closes."""
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
    """The problem: the table's code and title where its status has one of its own."""
    codes = [code for code, (known, _) in PROBLEMS.items() if known == status]
    code = codes[0] if codes else "bad-request" if status < 500 else "internal-error"
    title = PROBLEMS[code][1] if codes else HTTPStatus(status).phrase
    return problem(code, message or reason) | {"status": status, "title": title}
