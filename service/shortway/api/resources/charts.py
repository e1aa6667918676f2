"""Charts: read, and unrolled."""

from flask import Response

from shortway.api.http.chart_request import KINDS, TEXT_OPTIONS, read_chart_body
from shortway.api.http.request_body import query_fields, read_body_as
from shortway.api.http.responses import json_response
from shortway.api.resource import Resource
from shortway.core.charts import unroll
from shortway.request_trace import PARSE, RENDERING, phase
from shortway.wire.query_options import reject_unknown, with_options
from shortway.wire.schemas.charts import ChartReadingSchema
from shortway.wire.serializers.charts import reading_json

calls = Resource("charts", "Chord charts: text, JSON, and lead sheets")


@calls.post("/v1/charts", "readChart", ChartReadingSchema, query=True)
def post_charts() -> Response:
    """Read a chart

    The chart in its JSON form, and its steps with repeats and endings unrolled. The body is the
    chart itself: as application/json an object, as text/plain or another text format its text, or a
    lead sheet as MusicXML, plain or compressed. Options of a text that is the body stand in the
    query. Of a lead sheet, chords are read from the harmony
    elements; meters, pickups, keys, repeats, endings and jumps (da capo, dal segno, coda, fine) are
    followed; what a transposing part writes is turned into what sounds; and each chord carries the
    notes of the melody that sound where it begins or during at least one of its beats.
    """
    with phase(PARSE):
        query = query_fields()
        reject_unknown(query, TEXT_OPTIONS)
        kind, value = read_body_as(*KINDS)
        given = read_chart_body(kind, value, with_options({}, query, TEXT_OPTIONS))
    with phase(RENDERING):
        return json_response(reading_json(given.chart, unroll(given.chart), given.tempo))
