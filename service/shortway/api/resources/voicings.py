"""Voicings: the playable voicings of a chord."""

from collections.abc import Mapping
from typing import Any

from flask import Response

from shortway.api.http.responses import json_response
from shortway.api.resource import Resource
from shortway.request_trace import RENDERING, phase
from shortway.services.list_voicings import list_voicings
from shortway.wire.schemas.voicings import VoicingPageSchema, VoicingsRequestSchema
from shortway.wire.serializers.voicings import listing_bytes

calls = Resource("voicings", "The playable voicings of a chord")


@calls.post("/v1/voicings", "listVoicings", VoicingPageSchema, body=VoicingsRequestSchema)
def post_voicings(body: Mapping[str, Any]) -> Response:
    """List a chord's voicings

    All voicings that the setting allows, page by page, in an order that does not change. With
    `after`, each has its motion from the notes that sound, and the nearest come first. These are
    exactly the candidates of a path's step; `melody`, `ceiling` and `top` are those of its chart,
    and `context` is the step's.
    """
    listing = list_voicings(body)
    with phase(RENDERING):
        return json_response(listing_bytes(listing))
