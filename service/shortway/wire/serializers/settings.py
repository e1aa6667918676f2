"""The tables behind a setting as JSON values: presets and prices."""

from collections.abc import Iterable

from shortway.core.settings.presets import Preset
from shortway.core.settings.prices import MAX_PRICE, UNIT, Price
from shortway.core.settings.setting import resolve, setting_json
from shortway.wire.serializers import Json


def presets_json(presets: Iterable[Preset]) -> Json:
    """The presets: what each sets, and the setting in full."""
    return {
        "presets": [
            {
                "id": preset.id,
                "about": preset.about,
                "sets": {k: list(v) if isinstance(v, tuple) else v for k, v in preset.sets.items()},
                "setting": setting_json(resolve({"preset": preset.id})),
            }
            for preset in presets
        ]
    }


def prices_json(prices: Iterable[Price]) -> Json:
    """The table of prices, in its order."""
    return {
        "prices": [
            {
                "name": price.name,
                "kind": price.kind,
                "counts": price.counts,
                "default": price.default,
                "maximum": MAX_PRICE,
                "unit": UNIT,
                "source": price.source,
            }
            for price in prices
        ]
    }
