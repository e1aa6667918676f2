"""Requests about a chart: JSON, or the chart itself as the body with its options in the query.

Knows HTTP and the wire; no call.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, Final

from flask import Response, request

from shortway.api.http.request_body import JSON, MUSICXML, MXL, query_fields, read_body_as
from shortway.core.errors import ShortwayError
from shortway.request_trace import PARSE, phase
from shortway.services.read_chart import ChartSource, read_chart, read_lead_sheet
from shortway.wire.fields import RequestSchema, normalized
from shortway.wire.query_options import query_options, reject_unknown, relocated, with_options
from shortway.wire.schemas.charts import NO_CHART
from shortway.wire.validation import invalid_request, validated

#: Content types of lead sheets.
KINDS: Final = {MUSICXML: "musicxml", MXL: "mxl"}

View = Callable[[Mapping[str, Any]], Response]


def read_chart_body(kind: str, value: Any) -> ChartSource:
    """The chart that a body of this content type is. Raises ShortwayError."""
    if kind == JSON and not isinstance(value, Mapping):
        raise invalid_request([NO_CHART])
    return read_lead_sheet(value, KINDS[kind]) if kind in KINDS else read_chart(normalized(value))


def takes_chart(schema: type[RequestSchema]) -> Callable[[View], Callable[[], Response]]:
    """A decorator: the view gets the request of a body of any kind and its query.

    It raises RequestError and InvalidRequest.
    """
    whole, rest, options = schema(), schema(exclude=("chart",)), query_options(schema())

    def request_of(query: Mapping[str, str]) -> dict[str, Any]:
        kind, value = read_body_as(*KINDS)
        if kind == JSON:
            return validated(whole, with_options(value, query, options))
        fields = validated(rest, with_options({}, query, options))
        return {**fields, "chart": read_chart_body(kind, value)}

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
