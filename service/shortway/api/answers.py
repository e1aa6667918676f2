"""Answers: values serialised once, and the headers that every response carries.

Knows HTTP and no noun. An answer is a pure function of its request, so a GET may be kept by
whoever asked: it has an ``ETag``, and is not sent again to one who has it.
"""

from __future__ import annotations

import re
import uuid
from typing import Any, Final

import orjson
from flask import Response, request

from shortway.api.problems import Refusal
from shortway.core.errors import Fault

API_VERSION: Final = "1"
#: Bytes of an address that are read.
MAX_URI: Final = 65_536
KEPT: Final = "public, max-age=3600"
_REQUEST_KEY: Final = "shortway.request_id"
_REQUEST_ID: Final = re.compile(r"[A-Za-z0-9._~:/+=@-]{1,128}")


def answer(value: Any) -> Response:
    """`value` as JSON."""
    return Response(orjson.dumps(value), mimetype="application/json")


def kept(response: Response, cache_control: str = KEPT) -> Response:
    """A GET's answer with ``ETag`` and ``Cache-Control``; 304 without body to one who has it."""
    response.headers["Cache-Control"] = cache_control
    response.add_etag()
    response.make_conditional(request)
    return response


def fresh(response: Response) -> Response:
    """An answer about this moment, which nobody keeps."""
    response.headers["Cache-Control"] = "no-store"
    return response


def before() -> None:
    """Note the request's id; refuse an address too long, or an accepted type that is not ours."""
    given = request.headers.get("X-Request-Id", "")
    request.environ[_REQUEST_KEY] = given if _REQUEST_ID.fullmatch(given) else uuid.uuid4().hex
    if len(request.path) + len(request.query_string) > MAX_URI:
        raise Refusal("uri-too-long", f"the address is longer than {MAX_URI:,} bytes")
    if request.routing_exception is None and not _accepts("application/json"):
        detail = "this call answers with application/json, which the Accept header leaves out"
        raise Refusal("not-acceptable", detail, Fault("", detail, None, "application/json"))


def after(response: Response) -> Response:
    """Every response's own headers."""
    response.headers["API-Version"] = API_VERSION
    response.headers["X-Request-Id"] = request.environ.get(_REQUEST_KEY) or uuid.uuid4().hex
    return response


def _accepts(media_type: str) -> bool:
    """Whether the Accept header takes `media_type`; without the header all is taken."""
    accepted = request.accept_mimetypes
    return not accepted or accepted.quality(media_type) > 0
