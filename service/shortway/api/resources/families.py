"""Families: the table of recipes."""

from functools import partial
from typing import Final

from flask import Response

from shortway.api.http.responses import table_response
from shortway.api.resource import Resource
from shortway.core.settings.families import FAMILIES
from shortway.wire.schemas.families import FamilyListSchema
from shortway.wire.serializers.families import families_json

calls = Resource("families", "Recipes for voicings")
_FAMILIES: Final = partial(families_json, FAMILIES.values())


@calls.get("/v1/families", "listFamilies", FamilyListSchema)
def list_families() -> Response:
    """List the families of voicings

    Every family with the hands that may play it, how many voices it can have and the sorts of
    chord that it serves.
    """
    return table_response(_FAMILIES)
