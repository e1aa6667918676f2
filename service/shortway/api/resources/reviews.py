"""Reviews of what was played over a chart."""

from collections.abc import Mapping
from typing import Any

from flask import Response

from shortway.api.http.responses import json_response
from shortway.api.resource import Resource
from shortway.request_trace import RENDERING, phase
from shortway.services.review import review_playing
from shortway.wire.schemas.reviews import ReviewRequestSchema, ReviewSchema
from shortway.wire.serializers import reviews as wire_reviews

calls = Resource("reviews", "Reviews of what was played over a chart")


@calls.post("/v1/reviews", "reviewPlaying", ReviewSchema, body=ReviewRequestSchema)
def post_reviews(body: Mapping[str, Any]) -> Response:
    """Review what was played

    Each note is named, each voicing judged by the setting's hard rules, and the way through the
    chart compared with the best path through the same steps and with the best continuation from
    what was really played. The notes come step by step, or as a MIDI file that is laid along the
    chart by its beats.
    """
    found = review_playing(body)
    took = found.performance
    aligned = None if took is None else (took.taken, took.left_out)
    with phase(RENDERING):
        return json_response(wire_reviews.review_bytes(found.review, aligned))
