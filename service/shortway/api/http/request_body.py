"""Request bodies and queries as values: bytes in, JSON values or text out.

Knows HTTP and no noun. Every call's body is read here: flask-smorest's parser would neither
read JSON strictly (`shortway.wire.strict_json`) nor answer 415 to another content type.
"""

from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache, wraps
from typing import Any, Final

import flask
from flask import Response
from marshmallow import Schema
from werkzeug.http import parse_options_header

from shortway.api.http.problems import RequestError
from shortway.core.errors import Fault
from shortway.request_trace import PARSE, current_request, phase
from shortway.wire.strict_json import NotJson, read_json
from shortway.wire.validation import validated

JSON: Final = "application/json"
TEXT: Final = "text/plain"
MUSICXML: Final = "application/vnd.recordare.musicxml+xml"
MXL: Final = "application/vnd.recordare.musicxml"
JSON_LINES: Final = ("application/jsonl", "application/x-ndjson")
_CHARSETS: Final = ("utf-8", "utf8", "us-ascii", "ascii")

View = Callable[[Mapping[str, Any]], Response]


def takes_request(schema: Schema, location: str) -> Callable[[View], Callable[[], Response]]:
    """A decorator: the view gets the JSON body or the ``query``, checked against `schema`."""

    def decorate(view: View) -> Callable[[], Response]:
        @wraps(view)
        def call() -> Response:
            with phase(PARSE):
                value = query_fields() if location == "query" else read_body_as()[1]
                request = validated(schema, value)
            return view(request)

        return call

    return decorate


def read_body_as(*kinds: str) -> tuple[str, Any]:
    """The content type, and the body: a JSON value, a text, or bytes of one of `kinds`.

    Raises RequestError.
    """
    kind = check_content_type(JSON, *kinds)
    if kind == JSON:
        return kind, _json(body_bytes())
    return kind, _text(body_bytes()) if kind.startswith("text/") else body_bytes()


def query_fields() -> dict[str, str]:
    """The fields of the query. Raises RequestError if a field is repeated."""
    args = flask.request.args
    for name in args:
        if len(args.getlist(name)) > 1:
            detail = "this field is repeated in the query"
            raise RequestError("out-of-range", detail, Fault(f"/{name}", detail, None, "one value"))
    return args.to_dict()


def reject_query() -> None:
    """Reject any query, for calls that have none. Raises RequestError."""
    if not flask.request.environ.get("QUERY_STRING"):
        return
    faults = [
        Fault(f"/{name}", "this query field is unknown", None, "no query")
        for name in flask.request.args
    ]
    if faults:
        raise RequestError("unknown-field", faults[0].detail, *faults)


def body_bytes() -> bytes:
    """The body, which admission control has read."""
    state = current_request()
    return b"" if state is None or state.body is None else state.body


def check_content_type(*accepted: str, encodings: Sequence[str] = ("identity",)) -> str:
    """The content type, which must be one of `accepted`, in UTF-8 and in one of `encodings`.

    Raises RequestError if it is not (415).
    """
    environ = flask.request.environ
    kind, charset = _content_type(environ.get("CONTENT_TYPE", ""))
    if kind in accepted and charset in _CHARSETS and content_encoding() in encodings:
        return kind
    given = environ.get("CONTENT_TYPE", "missing")[:80]
    kinds = " or ".join(accepted)
    how = "uncompressed" if len(encodings) == 1 else "as gzip or uncompressed"
    detail = f"Content-Type is {given}; this call accepts {kinds} in UTF-8, {how}"
    codings = "identity" if len(encodings) == 1 else "gzip, identity"
    headers = {"Accept": ", ".join(accepted), "Accept-Encoding": codings}
    raise RequestError("unsupported-media-type", detail, headers=headers)


def content_encoding() -> str:
    """The Content-Encoding header."""
    coding: str = flask.request.environ.get("HTTP_CONTENT_ENCODING", "identity")
    return coding.strip().lower()


@lru_cache(maxsize=64)  # clients send few different ones
def _content_type(header: str) -> tuple[str, str]:
    """The media type and the charset."""
    kind, options = parse_options_header(header)
    return kind.lower(), options.get("charset", "utf-8").lower()


def _json(body: bytes) -> Any:
    try:
        return read_json(body)
    except NotJson as error:
        raise RequestError("not-json", error.fault.detail, error.fault) from None


def _text(body: bytes) -> str:
    try:
        return body.decode()
    except UnicodeDecodeError as error:
        detail = f"the text is not UTF-8: cannot read byte {error.start}"
        raise RequestError("not-text", detail, Fault("", detail, None, "UTF-8")) from None
