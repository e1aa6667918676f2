"""Options of a request in its query: every scalar field, under its own name, as the schemas say.

Knows the schemas and no HTTP. The setting's and the display's fields stand in the query as the
request's own do: ``?hands=left&tempo=120``. They override those of a JSON body.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from marshmallow import fields

from shortway.core.errors import Fault, ShortwayError, one_of, token
from shortway.scores.chart_files.formats import TEXT_FORMATS
from shortway.wire.fields import (
    RequestSchema,
    StrictBoolean,
    StrictInteger,
    StrictNested,
    StrictNumber,
    StrictString,
)
from shortway.wire.schemas.charts import ChartInputSchema
from shortway.wire.schemas.settings import SettingSchema
from shortway.wire.strict_json import NotJson, read_json
from shortway.wire.validation import InvalidRequest

_SCALARS: Final = (StrictString, StrictInteger, StrictNumber, StrictBoolean)
_WORDS: Final = {"true": True, "false": False}


@dataclass(frozen=True, slots=True)
class QueryOption:
    """A field that may stand in the query; `inside` is the object that holds it in a body."""

    name: str
    field: fields.Field[Any]
    inside: str | None = None

    @property
    def pointer(self) -> str:
        """Where it stands in a body."""
        return (token(self.inside) if self.inside else "") + token(self.name)


def query_options(schema: RequestSchema) -> dict[str, QueryOption]:
    """The options of a request by name: its scalars, its setting's, its chart's text's."""
    own = schema.load_fields
    parts = {name: f.schema.load_fields for name, f in own.items() if isinstance(f, StrictNested)}
    if "setting" in own:
        parts["setting"] = SettingSchema().load_fields
    if "chart" in own:
        of_text = {name for kind in TEXT_FORMATS.values() for name in kind.options}
        known = ChartInputSchema().load_fields
        parts["chart"] = {name: known[name] for name in sorted(of_text - own.keys())}
    found = [QueryOption(name, field) for name, field in own.items()]
    found += [QueryOption(n, f, part) for part, inner in parts.items() for n, f in inner.items()]
    return {option.name: option for option in found if isinstance(option.field, _SCALARS)}


def reject_unknown(query: Mapping[str, str], options: Mapping[str, QueryOption]) -> None:
    """Reject a name of the query that is no option. Raises InvalidRequest."""
    if unknown := [name for name in query if name not in options]:
        detail, known = "this query field is unknown", one_of(sorted(options))
        faults = [Fault(token(name), detail, None, known) for name in unknown]
        raise InvalidRequest("unknown-field", *faults)


def with_options(body: Any, query: Mapping[str, str], options: Mapping[str, QueryOption]) -> Any:
    """The JSON value of a body with the options of a query in their places."""
    if not query or not isinstance(body, dict):
        return body  # its schema rejects it
    merged = dict(body)
    for name, text in query.items():
        option, value = options[name], _value(options[name].field, text)
        if option.inside is None:
            merged[name] = value
        elif isinstance(inner := merged.get(option.inside) or {}, dict):
            merged[option.inside] = {**inner, name: value}
    return merged


def _value(field: fields.Field[Any], text: str) -> Any:
    """A text of the query as JSON; one that cannot be read stays, and its field rejects it."""
    if isinstance(field, StrictBoolean):
        return _WORDS.get(text, text)
    if isinstance(field, StrictInteger | StrictNumber):
        try:
            number = read_json(text.encode())
        except NotJson:
            return text
        return number if type(number) in (int, float) else text
    return text


def relocated(
    error: ShortwayError,
    query: Mapping[str, str],
    options: Mapping[str, QueryOption],
    *,
    body_is_chart: bool,
) -> ShortwayError:
    """`error` with the pointers of what was sent: ``/hands`` of the query, ``""`` of the chart."""
    places = {options[name].pointer: token(name) for name in query if name in options}

    def moved(pointer: str) -> str:
        if body_is_chart and re.match("/chart(/|$)", pointer):
            return pointer.removeprefix("/chart")
        return places.get(pointer, pointer)

    error.faults = tuple(replace(fault, pointer=moved(fault.pointer)) for fault in error.faults)
    return error
