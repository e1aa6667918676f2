"""Charts: read, and unrolled."""

from __future__ import annotations

from flask import Response

from shortway import wire
from shortway.api.answers import answer
from shortway.api.bodies import read_json_or_text
from shortway.api.resource import Resource
from shortway.api.schemas.charts import ReadingSchema
from shortway.core import chart as charts

calls = Resource("charts", "Chord charts, text and JSON")


@calls.post("/v1/charts", "readChart", ReadingSchema)
def read_chart() -> Response:
    """Read a chart

    The chart in its JSON form, and its steps with repeats and endings unrolled. The body is the
    chart itself: as text/plain its text, as application/json the object or a string.
    """
    chart = charts.read(read_json_or_text())
    return answer(wire.reading_json(chart, charts.unroll(chart)))
