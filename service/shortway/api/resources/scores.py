"""Scores: a path as notes, sound and pictures, and as timed events."""

from collections.abc import Mapping
from typing import Any, Final

from flask import Response

from shortway.api.http.responses import json_response, negotiate
from shortway.api.resource import Resource
from shortway.request_trace import RENDERING, phase
from shortway.scores.formats import FORMS
from shortway.services.write_score import disposition, music_of, write_score
from shortway.wire.schemas.scores import PerformanceSchema, ScoreRequestSchema
from shortway.wire.serializers.performances import performance_json

#: Media types of a score, the default first, with their forms.
FORM_OF: Final = {kind: form for form, (kind, _) in FORMS.items()}

calls = Resource("scores", "A path as notes, sound and pictures")


@calls.file("/v1/scores", "writeScore", takes=ScoreRequestSchema)
def post_scores(body: Mapping[str, Any]) -> Response:
    """Write a path as a score

    The best path of the same request to `/v1/paths` as a piano part on a grand staff, by `format`,
    else by Accept: MusicXML 4.0 (the default), the same compressed, a Standard MIDI File with a
    track for each hand, a picture (SVG; `show.picture`: the staff, a keyboard for each step, or the
    voices as lines through pitch over time), or the staff on pages of A4 or Letter (PDF;
    `show.paper`), which needs an optional package. Repeats are written out in the order they are
    played. Where the chart names no key, the signature is the one that leaves the fewest
    accidentals. Of a lead sheet (`musicxml`, `mxl`) the response is that sheet with the piano part
    under its melody, at concert pitch; its repeats stay where every pass is played alike, else all
    parts are written out; its symbols and its tempo are its own, and a MIDI file has the piano
    alone. A chart may be the body itself, its content type its own; every option that is no list or
    object then stands in the query. `alternatives` are checked and not written.
    """
    kind = FORMS[body["format"]][0] if "format" in body else negotiate(tuple(FORM_OF))
    title, content = write_score(body, FORM_OF[kind])
    response = Response(content, mimetype=kind)
    response.headers["Content-Disposition"] = disposition(title, FORM_OF[kind])
    response.vary.add("Accept")
    return response


@calls.post("/v1/performances", "writePerformance", PerformanceSchema, takes=ScoreRequestSchema)
def post_performances(body: Mapping[str, Any]) -> Response:
    """Write a path as timed events

    What the MIDI file of the same request to `/v1/scores` holds, as JSON in seconds, for apps that
    play the path themselves: every key struck, with its length, its hand and its step. Of `show`
    only `held` matters, `format` does not. A chart may be the body itself, as for a score.
    """
    music = music_of(body)
    with phase(RENDERING):
        return json_response(performance_json(music))
