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

import orjson
from gunicorn import util

from shortway.api.answers import API_VERSION
from shortway.api.problems import MEDIA_TYPE, PROBLEMS
from shortway.lasting import LastingWorker
from shortway.settings import read
from shortway.wire import problem

#: Seconds after which to ask again, drawn for each, so that a crowd does not come back as one.
RETRY_AFTER = (1, 2, 3)


class Worker(LastingWorker):
    """The worker that lasts, with `write_problem` in place of gunicorn's page of HTML."""

    def init_process(self) -> None:
        """Take over the writing of errors, then go on."""
        util.write_error = write_problem
        given = read(os.environ)
        self.most_waiting, self.deadline = given.most_waiting, given.deadline_seconds
        super().init_process()


def write_problem(sock: socket.socket, status: int, reason: str, message: str) -> None:
    """Answer `status` as a problem document, and say that the connection closes."""
    body = problem_bytes(status, reason, message)
    later = f"Retry-After: {random.choice(RETRY_AFTER)}\r\n" if status == 503 else ""
    head = (
        f"HTTP/1.1 {status} {reason}\r\n"
        "Connection: close\r\n"
        f"Content-Type: {MEDIA_TYPE}\r\n"
        f"Content-Length: {len(body)}\r\n"
        "Cache-Control: no-store\r\n"
        f"API-Version: {API_VERSION}\r\n"
        f"X-Request-Id: {uuid.uuid4().hex}\r\n"
        f"{later}"
        "\r\n"
    )
    util.write_nonblock(sock, head.encode("latin-1") + body)


def problem_bytes(status: int, reason: str, message: str) -> bytes:
    """The problem's JSON: the table's code and title where its status has one of its own."""
    codes = [code for code, (known, _) in PROBLEMS.items() if known == status]
    code = codes[0] if codes else "bad-request" if status < 500 else "internal-error"
    title = PROBLEMS[code][1] if codes else HTTPStatus(status).phrase
    return orjson.dumps(problem(status, code, title, message or reason))
