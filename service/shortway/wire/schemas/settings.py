"""Settings: who plays and what is allowed. Their values are checked by the core."""

from typing import Any

from marshmallow import Schema

from shortway.core.settings.families import FAMILIES
from shortway.core.settings.fields import MOST_NOTES
from shortway.core.settings.keyboard import REACHES
from shortway.core.settings.presets import PRESETS
from shortway.core.settings.prices import MAX_PRICE, PRICES, PRICING, UNIT
from shortway.core.settings.setting import HANDS, LOW_LIMITS, MELODY, REPEATS, RULES, TENSIONS
from shortway.wire.fields import (
    CoreValue,
    RequestSchema,
    ResponseSchema,
    StrictBoolean,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictNumber,
    StrictString,
)


def _word(words: tuple[str, ...], description: str, **shown: Any) -> StrictString:
    return StrictString(description, words[0], enum=list(words), **shown)


_PRICE_FIELDS: dict[str, Any] = {
    name: StrictInteger(
        f"Semitones for {price.counts}.",
        price.default,
        minimum=0,
        maximum=MAX_PRICE,
        default=price.default,
    )
    for name, price in PRICES.items()
}
PricesSchema = RequestSchema.from_dict(_PRICE_FIELDS, name="PricesSchema")
PricesSchema.__doc__ = "Prices by name, in semitones; one left out has its default."
ResolvedPricesSchema = ResponseSchema.from_dict(_PRICE_FIELDS, name="ResolvedPricesSchema")
ResolvedPricesSchema.__doc__ = "All prices by name, in semitones."


def _players() -> dict[str, Any]:
    """The fields that say who plays, and with how many notes."""
    return {
        "bass_player": StrictBoolean(
            "Whether somebody else plays the bass; true where missing.", True
        ),
        "hands": _word(HANDS, "The hands that play; both where missing."),
        "families": StrictList(
            StrictString("A family's id.", "rootless", enum=list(FAMILIES)),
            "Families to choose voicings from.",
            ["guide-tone-extended", "fourths"],
        ),
        "notes": StrictInteger(
            "Upper notes of every voicing, bass excluded; absent where their number may vary.",
            5,
            minimum=1,
            maximum=MOST_NOTES,
            optional=True,
        ),
        "notes_vary": StrictBoolean(
            "Whether the number may differ from step to step.", False, default=False
        ),
        "split_cost": StrictInteger(
            "Semitones that a split or merge of voices costs, where notes vary.",
            12,
            minimum=0,
            maximum=127,
            default=12,
        ),
    }


def _allowed() -> dict[str, Any]:
    """The fields that say what is allowed."""
    return {
        "tensions": _word(
            TENSIONS[::-1],
            "Only the degrees written, those available too, or those of the chord's function.",
        ),
        "reach": StrictString(
            "A hand's reach by name; ninth where neither it nor reach_mm is given.",
            "ninth",
            optional=True,
            enum=list(REACHES),
        ),
        "reach_mm": StrictNumber(
            "Greatest distance of a hand's outer key centres, in mm.",
            198.0,
            minimum=20,
            maximum=400,
        ),
        "lowest": StrictString("Lowest note of the upper voices, or of the bass.", "Eb3"),
        "highest": StrictString("Highest note.", "C6"),
        "home": StrictString("Pitch that the voicings keep near.", "F4"),
        "repeats": _word(
            REPEATS,
            "Whether a chord struck again holds its voicing or changes it.",
            default=REPEATS[0],
        ),
        "low_interval_limits": _word(
            LOW_LIMITS, "How low close intervals may lie.", default=LOW_LIMITS[0]
        ),
        "waive": StrictList(
            StrictString("A hard rule.", RULES[0], enum=list(RULES)),
            "Hard rules left off on request.",
            [],
        ),
        "melody": _word(
            MELODY,
            "What is done about the notes sung or played over a chord: avoid keeps clear of minor "
            "seconds and ninths with them wherever that can be, and below them wherever something "
            "lies there; below stays below them; carry has the highest of them on top; ignore does "
            "nothing.",
            default=MELODY[0],
        ),
    }


def _fields(prices: type[Schema], example: dict[str, int]) -> dict[str, Any]:
    """The fields of a setting, with the schema of its prices."""
    return {
        **_players(),
        **_allowed(),
        "prices": StrictNested(prices, "Comfort prices by name.", example),
        "pricing": _word(
            PRICING, "Whether the prices count; none is the least motion pure.", default=PRICING[0]
        ),
    }


_PRESET = StrictString(
    "A setting by situation, listed by `GET /v1/presets`; fields beside it override its own.",
    "small-hands",
    enum=list(PRESETS),
)
_FIELDS = _fields(PricesSchema, {"top-note-held": 3})
_RESOLVED = _fields(ResolvedPricesSchema, {name: price.default for name, price in PRICES.items()})

SettingSchema = RequestSchema.from_dict({"preset": _PRESET, **_FIELDS}, name="SettingSchema")
SettingSchema.__doc__ = "Who plays and what is allowed; what is left out follows the situation."
ResolvedSettingSchema = ResponseSchema.from_dict(_RESOLVED, name="ResolvedSettingSchema")
ResolvedSettingSchema.__doc__ = "The setting in full; sent again, it gives the same answer."


class PresetSchema(ResponseSchema):
    """A setting by situation."""

    id = StrictString("Its name, for `preset` in a setting.", "small-hands")
    about = StrictString("Whom it is for.", "neither hand stretches far")
    sets = CoreValue(
        {"$ref": "#/components/schemas/Setting"}, "The fields that it sets.", {"reach": "octave"}
    )
    setting = StrictNested(ResolvedSettingSchema, "The setting in full.")


class PriceSchema(ResponseSchema):
    """A row of the table of prices."""

    name = StrictString("Its name in `prices`.", "top-note-held")
    kind = StrictString("A term of a voicing, or of a move.", "move", enum=["voicing", "move"])
    counts = StrictString("What is counted.", PRICES["cluster"].counts)
    default = StrictInteger("What each costs by default.", 3)
    maximum = StrictInteger("The most that it may be.", MAX_PRICE)
    unit = StrictString("What it is counted in.", UNIT)
    source = StrictString("Where it comes from.", "common practice")


class PriceListSchema(ResponseSchema):
    """All prices."""

    prices = StrictList(StrictNested(PriceSchema), "All of them.")


class PresetListSchema(ResponseSchema):
    """All presets."""

    presets = StrictList(StrictNested(PresetSchema), "All of them.")


SETTING = {"$ref": "#/components/schemas/Setting"}
