"""Voicings: all that a chord may be played as."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response

from shortway.api.http.resource import Resource
from shortway.api.http.responses import json_response
from shortway.api.resources.chords import parse_symbol
from shortway.core.solver import solve
from shortway.request_trace import RENDERING, SEARCH, phase
from shortway.wire.schemas.voicings import VoicingPageSchema, VoicingsRequestSchema
from shortway.wire.serializers import core_values as wire

calls = Resource("voicings", "What a chord may be played as")


@calls.post("/v1/voicings", "listVoicings", VoicingPageSchema, takes=VoicingsRequestSchema)
def list_voicings(body: Mapping[str, Any]) -> Response:
    """List a chord's voicings

    All voicings that the setting allows, page by page, in an order that does not change. With
    `after`, each has its motion from the notes that sound, and the nearest come first. These are
    exactly the candidates of a path's step; `melody`, `ceiling` and `top` are those of its chart,
    and `context` is the step's.
    """
    chord = parse_symbol(body["symbol"], "/symbol")
    with phase(SEARCH):
        listing = solve.voicings(
            chord,
            body.get("setting"),
            after=body.get("after"),
            melody=body.get("melody"),
            ceiling=body.get("ceiling"),
            top=body.get("top"),
            colours=body.get("colours"),
            context=wire.read_context(body["context"]) if "context" in body else None,
            limit=body["limit"],
            offset=body["offset"],
        )
    with phase(RENDERING):
        return json_response(wire.listing_json(listing))
