"""Responses: values serialized once, content negotiation, and the headers of every response.

Knows HTTP and no noun. The response to a GET is a pure function of its request, so it has an
``ETag`` and may be cached.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from secrets import token_hex
from typing import Any, Final

import orjson
from flask import Response, current_app, request
from werkzeug.http import generate_etag

from shortway.api.http.problems import MEDIA_TYPE as PROBLEM_TYPE
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
Headers = list[tuple[str, str]]

_REQUEST_ID: Final = re.compile(r"[A-Za-z0-9._~:/+=@-]{1,128}")


def json_response(value: Any) -> Response:
    """`value` as JSON; bytes are JSON already."""
    body = value if isinstance(value, bytes) else orjson.dumps(value)
    return Response(body, mimetype="application/json")


def table_response(table: Callable[[], object]) -> Response:
    """A GET's response whose body depends on nothing: `table` makes it once in a process."""
    return with_etag(json_response(_table(table)))


_table: Final = lru_cache(maxsize=16)(lambda table: orjson.dumps(table()))


def with_etag(response: Response, cache_control: str = CACHE_CONTROL) -> Response:
    """A GET's response with ``ETag`` and ``Cache-Control``; see `response_cache` for its 304."""
    response.headers["Cache-Control"] = cache_control
    response.set_etag(_etag(response.get_data()))
    return response


#: A body's tag; what is sent again is not digested again.
_etag: Final = lru_cache(maxsize=256)(generate_etag)


def with_no_store(response: Response) -> Response:
    """A response that must not be cached."""
    response.headers["Cache-Control"] = "no-store"
    return response


def request_id_from(given: str) -> str:
    """The client's request id where it is valid, else a new one."""
    return given if _REQUEST_ID.fullmatch(given) else token_hex(16)


def check_request() -> None:
    """Check what holds for every request.

    Raises RequestError if it is rejected already, the Host header is missing, or the URL is too
    long.
    """
    state, environ = current_request(), request.environ
    if state is not None and state.rejection is not None:
        raise state.rejection
    if "HTTP_HOST" not in environ and environ.get("SERVER_PROTOCOL") == "HTTP/1.1":
        raise RequestError("bad-request", "the Host header is required")  # RFC 9112, section 3.2
    if len(environ.get("PATH_INFO", "")) + len(environ.get("QUERY_STRING", "")) > MAX_URI:
        raise RequestError("uri-too-long", f"the URL is longer than {MAX_URI:,} bytes")


def answer_options() -> Response | None:
    """The methods of a URL, or of the whole service for ``*`` (RFC 9110, section 9.3.7)."""
    if request.method != "OPTIONS":
        return None
    rules = [*current_app.url_map.iter_rules()]
    if request.url_rule is not None:
        rules = [rule for rule in rules if rule.rule == request.url_rule.rule]
    elif request.environ["PATH_INFO"] != "*":
        return None
    methods = sorted({method for rule in rules for method in rule.methods or ()})
    return empty_response({"Allow": ", ".join(methods)})


def empty_response(headers: Mapping[str, str]) -> Response:
    """A response without content (204)."""
    response = Response(status=204, headers=headers)
    del response.headers["Content-Type"]
    return response


def standard_headers(given: Headers, request_id: str) -> Headers:
    """The headers that every response has, beside those that it is `given`."""
    own = {name for name, _ in given if name in SECURITY_HEADERS}  # a page has a policy of its own
    security = [pair for pair in SECURITY_HEADERS.items() if pair[0] not in own]
    return [("API-Version", API_VERSION), ("X-Request-Id", request_id), *security]


def negotiate(media_types: Sequence[str]) -> str:
    """The one of `media_types` that the Accept header prefers; the first without a preference.

    A client that accepts problems and none of them gets the first, too: generators let it list
    the type of every response (RFC 9110, section 12.5.1 leaves this to the server).

    Raises RequestError if none of them is acceptable (406).
    """
    accepted = request.environ.get("HTTP_ACCEPT", "")
    if accepted in ("", "*/*", media_types[0]):
        return media_types[0]
    found = request.accept_mimetypes.best_match(media_types)
    if found is not None:
        return found
    if any(kind == PROBLEM_TYPE and weight > 0 for kind, weight in request.accept_mimetypes):
        return media_types[0]
    kinds = " or ".join(media_types)
    detail = f"this call returns {kinds}, which the Accept header excludes"
    raise RequestError("not-acceptable", detail, Fault("", detail, None, kinds))
