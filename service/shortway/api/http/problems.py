"""What can go wrong, as RFC 9457 problems: one table of codes, one body, one place.

Knows HTTP and the core's errors. Whatever is raised while a request is answered becomes an
``application/problem+json`` body here; an unforeseen fault is logged and shows nothing of itself.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, Final

import orjson
from flask import Response, current_app
from marshmallow import ValidationError
from werkzeug.exceptions import HTTPException

from shortway.batch import lines
from shortway.core.errors import Fault, ShortwayError
from shortway.request_trace import note
from shortway.wire.serializers import core_values as wire

MEDIA_TYPE: Final = "application/problem+json"

#: Every code with its status and title; codes are added to, never renamed.
PROBLEMS: Final[dict[str, tuple[int, str]]] = {
    "bad-request": (400, "A request that cannot be understood"),
    "not-text": (400, "A body that is not UTF-8 text"),
    "unauthorized": (401, "Who asks is not known"),
    "forbidden": (403, "Not allowed"),
    "not-found": (404, "Nothing is here"),
    "method-not-allowed": (405, "A method that this call does not have"),
    "not-acceptable": (406, "No answer of the kind that is accepted"),
    "request-timeout": (408, "A request that has not come in time"),
    "body-too-large": (413, "A body that is too large"),
    "uri-too-long": (414, "An address that is too long"),
    "unsupported-media-type": (415, "A body of a type that is not read here"),
    "head-too-large": (431, "Headers that are too large"),
    "too-many-requests": (429, "Too many requests"),
    "not-implemented": (501, "A transfer coding that is not known here"),
    "unavailable": (503, "The service cannot answer now"),
    **lines.PROBLEMS,
}

#: The code for an HTTP error that the framework raises by itself.
_CODE_OF_STATUS: Final = {
    status: code for code, (status, _) in reversed(PROBLEMS.items()) if status != 422
} | {400: "bad-request"}

#: Headers of an HTTP error that its answer keeps.
_KEPT_HEADERS: Final = ("Allow", "Retry-After", "WWW-Authenticate")

_DETAILS: Final = {
    404: "There is no such call; GET /openapi.json lists them all.",
    405: "This address does not take that method; Allow lists those it takes.",
    500: "Something went wrong here; it is noted. Quote X-Request-Id when you report it.",
}

_log = logging.getLogger("shortway.api")


class Refusal(Exception):
    """A request that the shell refuses before the core sees it."""

    def __init__(
        self, code: str, detail: str, *faults: Fault, headers: Mapping[str, str] | None = None
    ) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.faults = faults
        self.headers = headers or {}


@dataclass(frozen=True, slots=True)
class Complaint:
    """What a schema's field says of a value; stands where marshmallow has a message."""

    code: str
    detail: str
    expected: str | None = None


def body(code: str, detail: str, faults: Sequence[Fault] = ()) -> wire.Json:
    """The problem with `code`."""
    status, title = PROBLEMS[code]
    return wire.problem(status, code, title, detail, faults)


def answer(problem: wire.Json, headers: Mapping[str, str] | None = None) -> Response:
    """`problem` as a response; nobody keeps it."""
    note("problem", problem["code"])
    response = Response(orjson.dumps(problem), problem["status"], mimetype=MEDIA_TYPE)
    response.headers["Cache-Control"] = "no-store"
    response.headers.update(headers or {})
    return response


def from_refusal(refusal: Refusal) -> Response:
    """The answer to a request that the shell refuses."""
    return answer(body(refusal.code, refusal.detail, refusal.faults), refusal.headers)


def from_core(error: ShortwayError) -> Response:
    """The answer to a request that the core refuses."""
    return answer(wire.problem_json(error))


def from_http(error: HTTPException) -> Response:
    """The answer to an HTTP error of the framework, which keeps the headers that belong to it."""
    status = error.code or 500
    code = _CODE_OF_STATUS.get(status, "bad-request" if status < 500 else "internal-error")
    detail = _DETAILS.get(status, error.description or PROBLEMS[code][1])
    if status == HTTPStatus.REQUEST_ENTITY_TOO_LARGE:
        most = current_app.config["MAX_CONTENT_LENGTH"]
        detail = f"The body is larger than the limit of {most:,} bytes."
    kept = {name: value for name, value in error.get_headers() if name in _KEPT_HEADERS}
    problem = body(code, detail) | {"status": status}
    return answer(problem, kept)


def from_fault(error: Exception) -> Response:
    """The answer to a fault that nobody foresaw: logged here, and not shown."""
    _log.error("unforeseen fault", exc_info=error)
    return answer(body("internal-error", _DETAILS[500]))


def refusal_of(error: ValidationError) -> Refusal:
    """What a schema found wrong; the first complaint gives the problem its code."""
    found = [pair for part in _parts(error.messages) for pair in _complaints(part, "")]
    faults = [Fault(pointer, said.detail, None, said.expected) for said, pointer in found]
    more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
    return Refusal(found[0][0].code, found[0][0].detail + more, *faults)


def _parts(messages: Any) -> list[Any]:
    """The messages of each part of the request: body, query."""
    return list(messages.values()) if isinstance(messages, dict) else [messages]


def _complaints(messages: Any, pointer: str) -> Iterator[tuple[Complaint, str]]:
    if isinstance(messages, dict):
        for name, inner in messages.items():
            token = str(name).replace("~", "~0").replace("/", "~1")
            yield from _complaints(inner, pointer if name == "_schema" else f"{pointer}/{token}")
        return
    for said in messages if isinstance(messages, list) else [messages]:
        yield said if isinstance(said, Complaint) else Complaint("out-of-range", str(said)), pointer
