"""Responses: values serialized once, content negotiation, and the headers of every response.

Knows HTTP and no noun. The response to a GET is a pure function of its request, so it has an
``ETag`` and may be cached.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from secrets import token_hex
from typing import Any, Final

import orjson
from flask import Response, request

from shortway.api.http.problems import RequestError
from shortway.core.errors import Fault
from shortway.request_trace import current_request

API_VERSION: Final = "1"
#: Bytes of the longest URL that is accepted.
MAX_URI: Final = 65_536
CACHE_CONTROL: Final = "public, max-age=3600"
#: Keep browsers from guessing a response's type, running scripts in it, framing it, using it in
#: other sites' pages, and sending its URL to others.
SECURITY_HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
}
_REQUEST_ID: Final = re.compile(r"[A-Za-z0-9._~:/+=@-]{1,128}")


def json_response(value: Any) -> Response:
    """`value` as JSON."""
    return Response(orjson.dumps(value), mimetype="application/json")


def with_etag(response: Response, cache_control: str = CACHE_CONTROL) -> Response:
    """A GET's response with ``ETag`` and ``Cache-Control``; 304 where If-None-Match has the tag."""
    response.headers["Cache-Control"] = cache_control
    response.add_etag()
    response.make_conditional(request)
    return response


def with_no_store(response: Response) -> Response:
    """A response that must not be cached."""
    response.headers["Cache-Control"] = "no-store"
    return response


def request_id_from(given: str) -> str:
    """The client's request id where it is valid, else a new one."""
    return given if _REQUEST_ID.fullmatch(given) else token_hex(16)


def check_request() -> None:
    """Check what holds for every request.

    Raises
    ------
    RequestError
        The Host header is missing, or the URL is too long.
    """
    environ = request.environ
    if "HTTP_HOST" not in environ and environ.get("SERVER_PROTOCOL") == "HTTP/1.1":
        raise RequestError("bad-request", "the Host header is required")  # RFC 9112, section 3.2
    if len(environ.get("PATH_INFO", "")) + len(environ.get("QUERY_STRING", "")) > MAX_URI:
        raise RequestError("uri-too-long", f"the URL is longer than {MAX_URI:,} bytes")


def add_standard_headers(response: Response) -> Response:
    """Add the headers that every response has."""
    headers = response.headers
    headers["API-Version"] = API_VERSION
    if (state := current_request()) is not None:
        headers["X-Request-Id"] = state.request_id
    for name, value in SECURITY_HEADERS.items():
        headers.setdefault(name, value)  # a page has a policy of its own
    return response


def negotiate(media_types: Sequence[str]) -> str:
    """The first of `media_types` that the Accept header allows; without the header, the first.

    Raises
    ------
    RequestError
        None of them is acceptable (406).
    """
    accepted = request.environ.get("HTTP_ACCEPT", "")
    found = next((kind for kind in media_types if _is_accepted(accepted, kind)), None)
    if found is None:
        kinds = " or ".join(media_types)
        detail = f"this call returns {kinds}, which the Accept header excludes"
        raise RequestError("not-acceptable", detail, Fault("", detail, None, kinds))
    return found


def _is_accepted(accepted: str, media_type: str) -> bool:
    """Whether an Accept header allows `media_type`; common headers are not parsed."""
    return accepted in ("", "*/*", media_type) or request.accept_mimetypes.quality(media_type) > 0
