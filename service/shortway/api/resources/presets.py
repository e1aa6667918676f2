"""Presets: settings by situation; and the prices."""

from functools import partial
from typing import Final

from flask import Response

from shortway.api.http.responses import table_response
from shortway.api.resource import Resource
from shortway.core.settings.presets import PRESETS
from shortway.core.settings.prices import PRICES
from shortway.wire.schemas.settings import PresetListSchema, PriceListSchema
from shortway.wire.serializers.settings import presets_json, prices_json

calls = Resource("presets", "Who plays and what is allowed, by situation")
_PRESETS: Final = partial(presets_json, PRESETS.values())
_PRICES: Final = partial(prices_json, PRICES.values())


@calls.get("/v1/presets", "listPresets", PresetListSchema)
def list_presets() -> Response:
    """List the settings by situation

    Each preset in plain words, the fields that it sets, and the setting that these make in full.
    """
    return table_response(_PRESETS)


@calls.get("/v1/prices", "listPrices", PriceListSchema)
def list_prices() -> Response:
    """List the comfort prices

    What each counts, what it costs by default in semitones, and whether it is a term of a voicing
    or of a move; `prices` in a setting overrides them by name.
    """
    return table_response(_PRICES)
