"""The body and query of a request as values: bytes in, JSON values or text out.

Knows HTTP and no noun. The parser of every call reads its body here, since webargs would not use
the app's own JSON: nesting, huge integers, NaN, lone surrogates, duplicate keys and other
encodings are all refused as ``not-json``, and another content type as 415.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final, NoReturn

import flask
import orjson
from marshmallow import RAISE, Schema, ValidationError
from webargs.flaskparser import FlaskParser

from shortway.api import problems
from shortway.api.problems import Refusal
from shortway.core.errors import Fault

JSON: Final = "application/json"
TEXT: Final = "text/plain"
_CHARSETS: Final = ("utf-8", "utf8", "us-ascii", "ascii")


class Parser(FlaskParser):
    """webargs's parser with our own reading of JSON; unknown fields of a query are refused, too."""

    DEFAULT_UNKNOWN_BY_LOCATION: dict[str, str | None] = {  # noqa: RUF012 - as webargs declares it
        **FlaskParser.DEFAULT_UNKNOWN_BY_LOCATION,
        "query": RAISE,
    }

    def load_json(self, req: flask.Request, schema: Schema) -> Any:
        """The JSON value of the body."""
        return read_json()

    def load_querystring(self, req: flask.Request, schema: Schema) -> Any:
        """The query, in which no field stands twice."""
        return single_fields()

    def handle_error(
        self, error: ValidationError, req: flask.Request, schema: Schema, **_: Any
    ) -> NoReturn:
        """Refuse what a schema found wrong."""
        raise problems.refusal_of(error)


def read_json() -> Any:
    """The body, which must be JSON, as a value."""
    _check_type(JSON)
    return _json(_bytes())


def read_json_or_text() -> Any:
    """The body as a JSON value, or as the text that it is, by its content type."""
    return _text(_bytes()) if _check_type(JSON, TEXT) == TEXT else _json(_bytes())


def single_fields() -> dict[str, str]:
    """The fields of the query, none of which may stand twice."""
    args = flask.request.args
    for name in args:
        if len(args.getlist(name)) > 1:
            detail = "this stands in the query more than once"
            raise Refusal("out-of-range", detail, Fault(f"/{name}", detail, None, "one of it"))
    return args.to_dict()


def refuse_query() -> None:
    """Refuse any query, for calls that have none."""
    faults = [
        Fault(f"/{name}", "no field of this name is known in the query", None, "no query")
        for name in flask.request.args
    ]
    if faults:
        raise Refusal("unknown-field", faults[0].detail, *faults)


def _bytes() -> bytes:
    """The body; one larger than the app's limit is a 413.

    Of a body in chunks werkzeug would give what fits the limit and say nothing: reading on tells.
    """
    stream = flask.request.stream
    raw = stream.read()
    if flask.request.content_length is None:
        stream.read(1)
    return raw


def _check_type(*accepted: str) -> str:
    """The content type, which must be one of `accepted`, in UTF-8 and not packed."""
    request = flask.request
    charset = request.mimetype_params.get("charset", "utf-8").lower()
    packed = request.headers.get("Content-Encoding", "identity").lower()
    if request.mimetype in accepted and charset in _CHARSETS and packed == "identity":
        return request.mimetype
    given = request.headers.get("Content-Type", "nothing")[:80]
    kinds = " or ".join(accepted)
    detail = f"the body is declared as {given}; this call reads {kinds} in UTF-8, not packed"
    raise Refusal("unsupported-media-type", detail, headers={"Accept": ", ".join(accepted)})


def _json(raw: bytes) -> Any:
    """The JSON value of `raw`: checked by orjson, read with whole numbers and no key twice."""
    try:
        orjson.loads(raw)
        return json.loads(raw, object_pairs_hook=_object)
    except json.JSONDecodeError as error:
        position = error.pos if raw.isascii() else None
        raise _not_json(f"the body is not JSON: {_reason(raw, error.msg)}", position) from None
    except (ValueError, RecursionError) as error:
        said = "nested too deep" if isinstance(error, RecursionError) else str(error)
        raise _not_json(f"the body is not JSON that is read here: {said[:120]}", None) from None


def _reason(raw: bytes, said: str) -> str:
    if not raw:
        return "it is empty"
    try:
        raw.decode()
    except UnicodeDecodeError:
        return "it is not UTF-8"
    return said[:120]


def _object(pairs: list[tuple[str, Any]]) -> Mapping[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"the field {twice[:40]!r} stands twice")
    return found


def _text(raw: bytes) -> str:
    try:
        return raw.decode()
    except UnicodeDecodeError as error:
        detail = f"the text is not UTF-8: byte {error.start} cannot be read"
        raise Refusal("not-text", detail, Fault("", detail, None, "UTF-8")) from None


def _not_json(detail: str, position: int | None) -> Refusal:
    return Refusal("not-json", detail, Fault("", detail, position, "one JSON value in UTF-8"))
