"""Rhythms: comping patterns for scores."""

from flask import Response

from shortway.api.http.responses import json_response, with_etag
from shortway.api.resource import Resource
from shortway.core.rhythm.patterns import PATTERNS
from shortway.wire.schemas.scores import RhythmListSchema
from shortway.wire.serializers.rhythms import rhythms_json

calls = Resource("rhythms", "Comping patterns")


@calls.get("/v1/rhythms", "listRhythms", RhythmListSchema)
def list_rhythms() -> Response:
    """List the comping patterns

    Each pattern in words, the meters that it is for, and its hits in beats; `rhythm` of a score
    takes its name, or hits of one's own.
    """
    return with_etag(json_response(rhythms_json(PATTERNS.values())))
