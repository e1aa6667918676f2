"""Settings: the presets by situation."""

from __future__ import annotations

from flask import Response

from shortway import wire
from shortway.api.answers import answer, kept
from shortway.api.resource import Resource
from shortway.api.schemas.settings import PresetsSchema
from shortway.core.presets import PRESETS

calls = Resource("settings", "Who plays and what is allowed, by situation")


@calls.get("/v1/settings", "listSettings", PresetsSchema)
def list_settings() -> Response:
    """List the settings by situation

    Each preset in plain words, the fields that it sets, and the setting that these make in full.
    """
    return kept(answer(wire.presets_json(PRESETS.values())))
