"""Requests about a chart: JSON, or the chart itself as the body with its options in the query.

Knows HTTP and the wire; no call.
"""

from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, Final

from flask import Response, request

from shortway.api.http.request_body import JSON, MUSICXML, MXL, View, query_fields, read_body_as
from shortway.core.errors import ShortwayError, UnknownField, token
from shortway.request_trace import PARSE, phase
from shortway.scores.chart_files.formats import TEXT_FORMATS
from shortway.services.read_chart import ChartSource, read_chart, read_lead_sheet, read_text_chart
from shortway.wire.fields import RequestSchema
from shortway.wire.normalization import normalized
from shortway.wire.query_options import query_options, reject_unknown, relocated, with_options
from shortway.wire.schemas.charts import NO_CHART, ChartInputSchema
from shortway.wire.validation import invalid_request, validated

_LEAD_SHEETS: Final = {MUSICXML: "musicxml", MXL: "mxl"}
_TEXTS: Final = {each.media_type: name for name, each in TEXT_FORMATS.items()}
#: Content types of charts beside JSON.
KINDS: Final = (*_TEXTS, *_LEAD_SHEETS)

#: What the query may say of a text that is the body.
TEXT_OPTIONS: Final = query_options(ChartInputSchema(only=("measure_each", "tempo", "meter")))
_NO_OPTIONS: Final[Mapping[str, Any]] = {}


def read_chart_body(kind: str, value: Any, options: Mapping[str, Any] = _NO_OPTIONS) -> ChartSource:
    """The chart that a body of this content type is, with options of its text.

    Raises ShortwayError.
    """
    if kind in _TEXTS:
        return read_text_chart(value, {"text_format": _TEXTS[kind], **options})
    if kind in _LEAD_SHEETS:
        for name in options:
            raise UnknownField.at(token(name), "a lead sheet has no options", expected="no query")
        return read_lead_sheet(value, _LEAD_SHEETS[kind])
    if not isinstance(value, Mapping):
        raise invalid_request([NO_CHART])
    return read_chart({**normalized(value), **options})


def takes_chart(schema: type[RequestSchema]) -> Callable[[View], Callable[[], Response]]:
    """A decorator: the view gets the request of a body of any kind and its query.

    It raises RequestError and InvalidRequest.
    """
    whole, rest, options = schema(), schema(exclude=("chart",)), query_options(schema())

    def request_of(query: Mapping[str, str]) -> dict[str, Any]:
        kind, value = read_body_as(*KINDS)
        if kind == JSON:
            return validated(whole, with_options(value, query, options))
        given = with_options({}, query, options)
        of_chart = given.pop("chart", {})
        fields = validated(rest, given)
        if kind in _TEXTS and "tempo" in TEXT_FORMATS[_TEXTS[kind]].options and "tempo" in fields:
            of_chart = {"tempo": fields["tempo"], **of_chart}
        return {**fields, "chart": read_chart_body(kind, value, of_chart)}

    def decorate(view: View) -> Callable[[], Response]:
        @wraps(view)
        def call() -> Response:
            query = query_fields()
            reject_unknown(query, options)
            try:
                with phase(PARSE):
                    given = request_of(query)
                return view(given)
            except ShortwayError as error:
                is_chart = request.mimetype != JSON
                raise relocated(error, query, options, body_is_chart=is_chart) from None

        return call

    return decorate
