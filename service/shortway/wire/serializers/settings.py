"""The presets as JSON values."""

from __future__ import annotations

from collections.abc import Iterable

from shortway.core.settings.presets import Preset
from shortway.core.settings.setting import resolve, setting_json
from shortway.wire.serializers import Json


def presets_json(presets: Iterable[Preset]) -> Json:
    """The presets: what each sets, and the setting in full."""
    return {
        "settings": [
            {
                "id": preset.id,
                "about": preset.about,
                "sets": {k: list(v) if isinstance(v, tuple) else v for k, v in preset.sets.items()},
                "setting": setting_json(resolve({"preset": preset.id})),
            }
            for preset in presets
        ]
    }
