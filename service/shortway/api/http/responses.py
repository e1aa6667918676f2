"""Answers: values serialised once, and the headers that every response carries.

Knows HTTP and no noun. An answer is a pure function of its request, so a GET may be kept by
whoever asked: it has an ``ETag``, and is not sent again to one who has it.
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
from shortway.request_trace import note

API_VERSION: Final = "1"
#: Bytes of an address that are read.
MAX_URI: Final = 65_536
CACHE_CONTROL: Final = "public, max-age=3600"
#: What keeps a browser from taking an answer for anything else: no guessed types, no scripts or
#: frames where one is opened as a page, no address told to others, no use in other sites' pages.
SECURITY_HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
}
_REQUEST_KEY: Final = "shortway.request_id"
_REQUEST_ID: Final = re.compile(r"[A-Za-z0-9._~:/+=@-]{1,128}")


def json_response(value: Any) -> Response:
    """`value` as JSON."""
    return Response(orjson.dumps(value), mimetype="application/json")


def with_etag(response: Response, cache_control: str = CACHE_CONTROL) -> Response:
    """A GET's answer with ``ETag`` and ``Cache-Control``; 304 without body to one who has it."""
    response.headers["Cache-Control"] = cache_control
    response.add_etag()
    response.make_conditional(request)
    return response


def with_no_store(response: Response) -> Response:
    """An answer about this moment, which nobody keeps."""
    response.headers["Cache-Control"] = "no-store"
    return response


def request_id_from(given: str) -> str:
    """A request's id: the one that its client has given, if that is a sane one."""
    return given if _REQUEST_ID.fullmatch(given) else token_hex(16)


def check_request() -> None:
    """Note the request's id; refuse an address too long."""
    environ = request.environ
    request_id = environ[_REQUEST_KEY] = request_id_from(environ.get("HTTP_X_REQUEST_ID", ""))
    note("request_id", request_id)
    if "HTTP_HOST" not in environ and environ.get("SERVER_PROTOCOL") == "HTTP/1.1":
        raise RequestError("bad-request", "the request has no Host header")  # RFC 9112, section 3.2
    if len(environ.get("PATH_INFO", "")) + len(environ.get("QUERY_STRING", "")) > MAX_URI:
        raise RequestError("uri-too-long", f"the address is longer than {MAX_URI:,} bytes")


def add_standard_headers(response: Response) -> Response:
    """Every response's own headers."""
    headers = response.headers
    headers["API-Version"] = API_VERSION
    headers["X-Request-Id"] = request.environ.get(_REQUEST_KEY) or token_hex(16)
    for name, value in SECURITY_HEADERS.items():
        headers.setdefault(name, value)  # a page has a policy of its own
    return response


def negotiate(media_types: Sequence[str]) -> str:
    """The first of `media_types` that the Accept header takes; without the header, the first."""
    accepted = request.environ.get("HTTP_ACCEPT", "")
    found = next((kind for kind in media_types if _takes(accepted, kind)), None)
    if found is None:
        kinds = " or ".join(media_types)
        detail = f"this call answers with {kinds}, which the Accept header leaves out"
        raise RequestError("not-acceptable", detail, Fault("", detail, None, kinds))
    return found


def _takes(accepted: str, media_type: str) -> bool:
    """Whether an Accept header takes `media_type`; the usual ones are not read each time."""
    return accepted in ("", "*/*", media_type) or request.accept_mimetypes.quality(media_type) > 0
