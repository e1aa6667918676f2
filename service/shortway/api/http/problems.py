"""Problems as responses: whatever is raised while a request is handled becomes one here.

Knows Flask; the codes and the body are `shortway.wire.problems`'s. An unexpected exception is
logged, and the response shows nothing of it.
"""

import logging
from collections.abc import Mapping
from typing import Any, Final

import orjson
from flask import Response
from werkzeug.exceptions import HTTPException

from shortway.core.errors import Fault, ShortwayError, Unavailable
from shortway.request_trace import update_request
from shortway.wire.problems import PROBLEMS, problem, problem_json

MEDIA_TYPE: Final = "application/problem+json"

#: The code for an HTTP error that the framework raises by itself.
_CODE_OF_STATUS: Final = {
    status: code for code, (status, _) in reversed(PROBLEMS.items()) if status != 422
} | {400: "bad-request"}

#: Headers of an HTTP error that its response keeps.
_KEPT_HEADERS: Final = ("Allow", "Retry-After", "WWW-Authenticate")

_DETAILS: Final = {
    404: "This URL is unknown; GET /openapi.json lists all calls.",
    405: "This URL does not support the method; the Allow header lists those it does.",
    500: "An internal error occurred and was logged. Quote X-Request-Id when you report it.",
}

_log = logging.getLogger("shortway.api")


class RequestError(Exception):
    """A request that is rejected before the core sees it."""

    def __init__(
        self, code: str, detail: str, *faults: Fault, headers: Mapping[str, str] | None = None
    ) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.faults = faults
        self.headers = headers or {}


def problem_response(body: Mapping[str, Any], headers: Mapping[str, str] | None = None) -> Response:
    """A problem as a response, which must not be cached."""
    update_request(problem=body["code"])
    response = Response(orjson.dumps(body), body["status"], mimetype=MEDIA_TYPE)
    response.headers["Cache-Control"] = "no-store"
    response.headers.update(headers or {})
    return response


def handle_request_error(error: RequestError) -> Response:
    """The response to a request that is rejected before the core sees it."""
    return problem_response(problem(error.code, error.detail, error.faults), error.headers)


def handle_core_error(error: ShortwayError) -> Response:
    """The response to a request that the core rejects, or cannot answer now."""
    headers = {"Retry-After": "1"} if isinstance(error, Unavailable) else {}
    return problem_response(problem_json(error), headers)


def handle_http_error(error: HTTPException) -> Response:
    """The response to an HTTP error of the framework, with the headers that belong to it."""
    status = error.code or 500
    code = _CODE_OF_STATUS.get(status, "bad-request" if status < 500 else "internal-error")
    detail = _DETAILS.get(status, error.description or PROBLEMS[code][1])
    kept = {name: value for name, value in error.get_headers() if name in _KEPT_HEADERS}
    return problem_response(problem(code, detail) | {"status": status}, kept)


def handle_unexpected_error(error: Exception) -> Response:
    """The response to an unexpected exception, which is logged and not shown."""
    _log.error("unexpected error", exc_info=error)
    return problem_response(problem("internal-error", _DETAILS[500]))
