"""Rhythms: comping patterns for scores."""

from __future__ import annotations

from flask import Response

from shortway import wire
from shortway.api.answers import answer, kept
from shortway.api.resource import Resource
from shortway.api.schemas.scores import RhythmListSchema
from shortway.core.patterns import PATTERNS

calls = Resource("rhythms", "Comping patterns")


@calls.get("/v1/rhythms", "listRhythms", RhythmListSchema)
def list_rhythms() -> Response:
    """List the comping patterns

    Each pattern in words, the meters that it is for, and its hits in beats; `rhythm` of a score
    takes its name, or hits of one's own.
    """
    return kept(answer(wire.rhythms_json(PATTERNS.values())))
