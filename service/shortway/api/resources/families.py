"""Families: the table of recipes."""

from __future__ import annotations

from flask import Response

from shortway import wire
from shortway.api.answers import answer, kept
from shortway.api.resource import Resource
from shortway.api.schemas.families import FamilyListSchema
from shortway.core.families import FAMILIES

calls = Resource("families", "Recipes for voicings")


@calls.get("/v1/families", "listFamilies", FamilyListSchema)
def list_families() -> Response:
    """List the families of voicings

    Every family with the hands that may play it, how many voices it can have and the sorts of
    chord that it serves.
    """
    return kept(answer(wire.families_json(FAMILIES.values())))
