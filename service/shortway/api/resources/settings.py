"""Settings: the presets by situation."""

from __future__ import annotations

from flask import Response

from shortway.api.http.responses import json_response, with_etag
from shortway.api.resource import Resource
from shortway.core.settings.presets import PRESETS
from shortway.wire.schemas.settings import PresetsSchema
from shortway.wire.serializers.settings import presets_json

calls = Resource("settings", "Who plays and what is allowed, by situation")


@calls.get("/v1/settings", "listSettings", PresetsSchema)
def list_settings() -> Response:
    """List the settings by situation

    Each preset in plain words, the fields that it sets, and the setting that these make in full.
    """
    return with_etag(json_response(presets_json(PRESETS.values())))
