"""Performances: a path as timed events."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response

from shortway.api.http.responses import json_response
from shortway.api.resource import Resource
from shortway.request_trace import RENDERING, phase
from shortway.services.write_score import music_of
from shortway.wire.schemas.performances import PerformanceSchema
from shortway.wire.schemas.scores import ScoreRequestSchema
from shortway.wire.serializers.performances import performance_json

calls = Resource("performances", "A path as timed events")


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
