"""Settings: who plays and what is allowed. Their values are checked by the core."""

from typing import Any

from shortway.core.settings.families import FAMILIES
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
    doc,
)

NOTES_OR_FREE: dict[str, Any] = {
    "description": "A number of upper notes, or free: sizes may differ from step to step.",
    "oneOf": [
        {"type": "integer", "minimum": 1, "maximum": 10},
        {"type": "string", "enum": ["free"]},
    ],
}
_LOWEST = doc("Lowest note of the upper voices, or of the bass.", "Eb3")
_HIGHEST = doc("Highest note.", "C6")
_PRICES = {name: price.default for name, price in PRICES.items()}
_EXAMPLE_RANGE = {"lowest": "Eb3", "highest": "C6"}


class RangeSchema(RequestSchema):
    """The range to play in; an end left out is the situation's."""

    lowest = StrictString(metadata=_LOWEST)
    highest = StrictString(metadata=_HIGHEST)


class ResolvedRangeSchema(ResponseSchema):
    """The range to play in."""

    lowest = StrictString(required=True, metadata=_LOWEST)
    highest = StrictString(required=True, metadata=_HIGHEST)


def _word(words: tuple[str, ...], description: str, required: bool) -> StrictString:
    return StrictString(required=required, metadata=doc(description, words[0], enum=list(words)))


def _price_fields(required: bool) -> dict[str, Any]:
    return {
        name: StrictInteger(
            required=required,
            metadata=doc(
                f"Semitones for {price.counts}.", price.default, minimum=0, maximum=MAX_PRICE
            ),
        )
        for name, price in PRICES.items()
    }


PricesSchema = RequestSchema.from_dict(_price_fields(False), name="PricesSchema")
PricesSchema.__doc__ = "Prices by name, in semitones; one left out has its default."
ResolvedPricesSchema = ResponseSchema.from_dict(_price_fields(True), name="ResolvedPricesSchema")
ResolvedPricesSchema.__doc__ = "All prices by name, in semitones."


def _over_and_prices(required: bool) -> dict[str, Any]:
    """What is done about a melody, and the prices."""
    return {
        "melody": _word(
            MELODY,
            "What is done about the notes sung or played over a chord: avoid keeps clear of minor "
            "seconds and ninths with them wherever that can be, and below them wherever something "
            "lies there; below "
            "stays below them; carry has the highest of them on top; ignore does nothing.",
            required,
        ),
        "prices": StrictNested(
            ResolvedPricesSchema if required else PricesSchema,
            required=required,
            metadata=doc("Comfort prices by name.", _PRICES if required else {"top-note-held": 3}),
        ),
        "pricing": _word(
            PRICING, "Whether the prices count; none is the least motion pure.", required
        ),
    }  # fmt: skip


def _fields(required: bool, part: type[RangeSchema] | type[ResolvedRangeSchema]) -> dict[str, Any]:
    """The fields of a setting: all optional on the way in, all there on the way out."""
    return {
        "bass_player": StrictBoolean(
            required=required, metadata=doc("Whether somebody else plays the bass.", True)
        ),
        "hands": _word(HANDS, "The hands that play.", required),
        "families": StrictList(
            StrictString(metadata=doc("A family's id.", "rootless", enum=list(FAMILIES))),
            required=required,
            metadata=doc("Families to choose voicings from.", ["guide-tone-extended", "fourths"]),
        ),
        "notes": CoreValue(
            {"$ref": "#/components/schemas/NotesOrFree"},
            required=required,
            metadata=doc("Upper notes of every voicing, bass excluded; or free.", 5),
        ),
        "split_cost": StrictInteger(
            required=required,
            metadata=doc("Semitones that a split or merge of voices costs, with free notes.", 12,
                          minimum=0, maximum=127),
        ),
        "tensions": _word(
            TENSIONS[::-1],
            "Only the degrees written, those available too, or those of the chord's function.",
            required,
        ),
        "reach": StrictString(
            metadata=doc("A hand's reach by name.", "ninth", enum=list(REACHES))
        ),
        "reach_mm": StrictNumber(
            required=required,
            metadata=doc("Greatest distance of a hand's outer key centres, in mm.", 198.0),
        ),
        "range": StrictNested(
            part,
            required=required,
            metadata=doc("The range to play in.", _EXAMPLE_RANGE),
        ),
        "home": StrictString(
            required=required, metadata=doc("Pitch that the voicings keep near.", "F4")
        ),
        "repeats": _word(
            REPEATS, "Whether a chord struck again holds its voicing or changes it.", required
        ),
        "low_interval_limits": _word(
            LOW_LIMITS, "How low close intervals may lie.", required
        ),
        "waive": StrictList(
            StrictString(metadata=doc("A hard rule.", RULES[0], enum=list(RULES))),
            required=required,
            metadata=doc("Hard rules left off on request.", []),
        ),
        **_over_and_prices(required),
    }  # fmt: skip


_PRESET = StrictString(
    metadata=doc(
        "A setting by situation, listed by `GET /v1/settings`; fields beside it override its own.",
        "small-hands",
        enum=list(PRESETS),
    )
)

SettingSchema = RequestSchema.from_dict(
    {"preset": _PRESET, **_fields(False, RangeSchema)}, name="SettingSchema"
)
SettingSchema.__doc__ = "Who plays and what is allowed; what is left out follows the situation."
ResolvedSettingSchema = ResponseSchema.from_dict(
    _fields(True, ResolvedRangeSchema), name="ResolvedSettingSchema"
)
ResolvedSettingSchema.__doc__ = "The setting in full; sent again, it gives the same answer."


class PresetSchema(ResponseSchema):
    """A setting by situation."""

    id = StrictString(
        required=True, metadata=doc("Its name, for `preset` in a setting.", "small-hands")
    )
    about = StrictString(
        required=True, metadata=doc("Whom it is for.", "neither hand stretches far")
    )
    sets = CoreValue(
        {"$ref": "#/components/schemas/Setting"},
        required=True,
        metadata=doc("The fields that it sets.", {"reach": "octave"}),
    )
    setting = StrictNested(
        ResolvedSettingSchema, required=True, metadata=doc("The setting in full.")
    )


class PriceSchema(ResponseSchema):
    """A row of the table of prices."""

    name = StrictString(required=True, metadata=doc("Its name in `prices`.", "top-note-held"))
    kind = StrictString(
        required=True,
        metadata=doc("A term of a voicing, or of a move.", "move", enum=["voicing", "move"]),
    )
    counts = StrictString(required=True, metadata=doc("What is counted.", PRICES["cluster"].counts))
    default = StrictInteger(required=True, metadata=doc("What each costs by default.", 3))
    maximum = StrictInteger(required=True, metadata=doc("The most that it may be.", MAX_PRICE))
    unit = StrictString(required=True, metadata=doc("What it is counted in.", UNIT))
    source = StrictString(required=True, metadata=doc("Where it comes from.", "common practice"))


class PriceListSchema(ResponseSchema):
    """All prices."""

    prices = StrictList(StrictNested(PriceSchema), required=True, metadata=doc("All of them."))


class PresetsSchema(ResponseSchema):
    """All presets."""

    settings = StrictList(StrictNested(PresetSchema), required=True, metadata=doc("All of them."))


SETTING = {"$ref": "#/components/schemas/Setting"}
