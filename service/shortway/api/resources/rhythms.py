"""Rhythms: comping patterns for scores."""

from functools import partial
from typing import Final

from flask import Response

from shortway.api.http.responses import table_response
from shortway.api.resource import Resource
from shortway.core.rhythm.patterns import PATTERNS
from shortway.wire.schemas.scores import RhythmListSchema
from shortway.wire.serializers.rhythms import rhythms_json

calls = Resource("rhythms", "Comping patterns")
_RHYTHMS: Final = partial(rhythms_json, PATTERNS.values())


@calls.get("/v1/rhythms", "listRhythms", RhythmListSchema)
def list_rhythms() -> Response:
    """List the comping patterns

    Each pattern in words, the meters that it is for, and its hits in beats; `rhythm` of a score
    takes its name, or hits of one's own.
    """
    return table_response(_RHYTHMS)
