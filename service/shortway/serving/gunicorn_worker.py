"""Gunicorn's threaded worker, whose own refusals are problems like all others.

Knows gunicorn and the service's problems. A request that gunicorn cannot read (an address too
long, a header that is none) never reaches the application; it is answered here.
"""

from __future__ import annotations

import os
import random
import socket
import uuid
from http import HTTPStatus
from typing import Any

import orjson
from gunicorn import glogging, util
from gunicorn.http import wsgi

from shortway import wire
from shortway.api import logs, metrics
from shortway.api.answers import API_VERSION, SAFE
from shortway.api.problems import MEDIA_TYPE, PROBLEMS
from shortway.serving.lasting import LastingWorker
from shortway.settings import read

#: Seconds after which to ask again, drawn for each, so that a crowd does not come back as one.
RETRY_AFTER = (1, 2, 3)


#: What stands for the server's name and version in every answer.
SERVER = "shortway"
_SAFE = "".join(f"{name}: {value}\r\n" for name, value in SAFE.items())


class Logger(glogging.Logger):  # type: ignore[misc]
    """Gunicorn's logger, whose lines are the service's."""

    def setup(self, cfg: Any) -> None:
        """Set up the service's log, and hand all to it."""
        super().setup(cfg)
        logs.configure(cfg.loglevel)
        self.error_log.propagate = True


class Worker(LastingWorker):
    """The worker that lasts, with problems in place of gunicorn's pages of HTML."""

    def init_process(self) -> None:
        """Take over the writing of errors, then go on."""
        util.write_error, wsgi.SERVER = self.refuse, SERVER
        given = read(os.environ)
        self.most_waiting, self.deadline = given.most_waiting, given.deadline_seconds
        self.most_body = given.max_body_kb * 1024
        super().init_process()

    def refuse(self, sock: socket.socket, status: int, reason: str, message: str) -> None:
        """Answer a request that does not reach the application; count it and tell of it.

        One that has to wait too long is only counted: where there are many, lines cost too much.
        """
        problem, request_id = problem_of(status, reason, message), uuid.uuid4().hex
        if (counts := self.wsgi.extensions.get(metrics.EXTENSION)) is not None:
            counts.refused(status, problem["code"])
        if status != HTTPStatus.SERVICE_UNAVAILABLE:
            logs.refused(status, problem["code"], request_id)
        util.write_nonblock(sock, answer_bytes(problem, reason, request_id))


def answer_bytes(problem: wire.Json, reason: str, request_id: str) -> bytes:
    """`problem` as an answer, which says that the connection closes."""
    status, body = problem["status"], orjson.dumps(problem)
    later = f"Retry-After: {random.choice(RETRY_AFTER)}\r\n" if status == 503 else ""
    head = (
        f"HTTP/1.1 {status} {reason}\r\n"
        "Connection: close\r\n"
        f"Content-Type: {MEDIA_TYPE}\r\n"
        f"Content-Length: {len(body)}\r\n"
        "Cache-Control: no-store\r\n"
        f"API-Version: {API_VERSION}\r\n"
        f"{_SAFE}"
        f"X-Request-Id: {request_id}\r\n"
        f"{later}"
        "\r\n"
    )
    return head.encode("latin-1") + body


def problem_of(status: int, reason: str, message: str) -> wire.Json:
    """The problem: the table's code and title where its status has one of its own."""
    codes = [code for code, (known, _) in PROBLEMS.items() if known == status]
    code = codes[0] if codes else "bad-request" if status < 500 else "internal-error"
    title = PROBLEMS[code][1] if codes else HTTPStatus(status).phrase
    return wire.problem(status, code, title, message or reason)
