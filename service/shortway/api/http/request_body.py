"""The body and query of a request as values: bytes in, JSON values or text out.

Knows HTTP and no noun. The parser of every call reads its body here, since webargs would not use
the app's own JSON: `shortway.wire.strict_json` reads it, and another content type is a 415.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final, NoReturn, cast

import flask
from marshmallow import RAISE, Schema, ValidationError
from webargs.flaskparser import FlaskParser
from werkzeug.exceptions import ClientDisconnected, RequestEntityTooLarge
from werkzeug.wsgi import get_content_length

from shortway.api.http.problems import RequestError
from shortway.core.errors import Fault
from shortway.request_trace import PARSE, note, phase
from shortway.wire.strict_json import NotJson
from shortway.wire.strict_json import read_json as read_strictly
from shortway.wire.validation import invalid_request

JSON: Final = "application/json"
TEXT: Final = "text/plain"
MUSICXML: Final = "application/vnd.recordare.musicxml+xml"
MXL: Final = "application/vnd.recordare.musicxml"
_BODY: Final = "shortway.body"
_CHARSETS: Final = ("utf-8", "utf8", "us-ascii", "ascii")


class RequestParser(FlaskParser):
    """webargs's parser with our own reading of JSON; unknown fields of a query are refused, too."""

    DEFAULT_UNKNOWN_BY_LOCATION: dict[str, str | None] = {  # noqa: RUF012 - as webargs declares it
        **FlaskParser.DEFAULT_UNKNOWN_BY_LOCATION,
        "query": RAISE,
    }

    def parse(self, *args: Any, **named: Any) -> Any:
        """As webargs does; its time is counted."""
        with phase(PARSE):
            return super().parse(*args, **named)

    def load_json(self, req: flask.Request, schema: Schema) -> Any:
        """The JSON value of the body."""
        return read_json_body()

    def load_querystring(self, req: flask.Request, schema: Schema) -> Any:
        """The query, in which no field stands twice."""
        return query_fields()

    def handle_error(
        self, error: ValidationError, req: flask.Request, schema: Schema, **_: Any
    ) -> NoReturn:
        """Refuse what a schema found wrong."""
        raise invalid_request(next(iter(error.messages_dict.values())))


def read_json_body() -> Any:
    """The body, which must be JSON, as a value."""
    check_content_type(JSON)
    return _json(body_bytes())


def read_body_as(*kinds: str) -> tuple[str, Any]:
    """The content type, and the body by it: a JSON value, a text, or bytes of one of `kinds`."""
    kind = check_content_type(JSON, TEXT, *kinds)
    if kind in kinds:
        return kind, body_bytes()
    return kind, _text(body_bytes()) if kind == TEXT else _json(body_bytes())


def query_fields() -> dict[str, str]:
    """The fields of the query, none of which may stand twice."""
    args = flask.request.args
    for name in args:
        if len(args.getlist(name)) > 1:
            detail = "this stands in the query more than once"
            raise RequestError("out-of-range", detail, Fault(f"/{name}", detail, None, "one of it"))
    return args.to_dict()


def reject_query() -> None:
    """Refuse any query, for calls that have none."""
    if not flask.request.environ.get("QUERY_STRING"):
        return
    faults = [
        Fault(f"/{name}", "no field of this name is known in the query", None, "no query")
        for name in flask.request.args
    ]
    if faults:
        raise RequestError("unknown-field", faults[0].detail, *faults)


def body_bytes() -> bytes:
    """The body, read once; one larger than the app's limit is a 413."""
    environ = flask.request.environ
    if _BODY not in environ:
        try:
            environ[_BODY] = body = _read(environ)
            note("received", len(body))
        except RequestEntityTooLarge:
            raise
        except Exception:  # each server has its own for a body that is none
            detail = "the body breaks off: the connection or a chunk is none"
            raise RequestError("body-incomplete", detail) from None
    return cast("bytes", environ[_BODY])


def _read(environ: dict[str, Any]) -> bytes:
    """The body from the connection.

    Of a body in chunks werkzeug would give what fits the limit and say nothing: reading on tells.
    """
    length = get_content_length(environ)
    if length is not None and length <= flask.current_app.config["MAX_CONTENT_LENGTH"]:
        return _whole(environ["wsgi.input"], length)
    request = flask.request
    found = request.stream.read()
    if length is None:
        request.stream.read(1)
    return found


def _whole(stream: Any, length: int) -> bytes:
    """`length` bytes of a body, read at once."""
    found = cast("bytes", stream.read(length))
    if len(found) < length:
        raise ClientDisconnected
    return found


def check_content_type(*accepted: str, encodings: Sequence[str] = ("identity",)) -> str:
    """The content type, which must be one of `accepted`, in UTF-8 and packed as `encodings` say."""
    request = flask.request
    charset = request.mimetype_params.get("charset", "utf-8").lower()
    if request.mimetype in accepted and charset in _CHARSETS and content_encoding() in encodings:
        return request.mimetype
    given = request.headers.get("Content-Type", "nothing")[:80]
    kinds = " or ".join(accepted)
    how = "not packed" if len(encodings) == 1 else "packed as gzip or not at all"
    detail = f"the body is declared as {given}; this call reads {kinds} in UTF-8, {how}"
    headers = {"Accept": ", ".join(accepted)}
    if len(encodings) > 1:
        headers["Accept-Encoding"] = "gzip, identity"
    raise RequestError("unsupported-media-type", detail, headers=headers)


def content_encoding() -> str:
    """How the body is packed, by its header."""
    return flask.request.headers.get("Content-Encoding", "identity").strip().lower()


def _json(body: bytes) -> Any:
    try:
        return read_strictly(body)
    except NotJson as error:
        raise RequestError("not-json", error.fault.detail, error.fault) from None


def _text(body: bytes) -> str:
    try:
        return body.decode()
    except UnicodeDecodeError as error:
        detail = f"the text is not UTF-8: byte {error.start} cannot be read"
        raise RequestError("not-text", detail, Fault("", detail, None, "UTF-8")) from None
