"""Settings: who plays and what is allowed. Their values are checked by the core."""

from typing import Any

from shortway.core.settings.families import FAMILIES
from shortway.core.settings.keyboard import REACHES
from shortway.core.settings.presets import PRESETS
from shortway.core.settings.setting import HANDS, LOW_LIMITS, MELODY, REPEATS, RULES, TENSIONS
from shortway.wire.schemas.fields import (
    Answer,
    Flag,
    Number,
    Part,
    Raw,
    Request,
    Several,
    Text,
    Whole,
    told,
)

NOTES_OR_FREE: dict[str, Any] = {
    "description": "A number of upper notes, or free: sizes may differ from step to step.",
    "oneOf": [
        {"type": "integer", "minimum": 1, "maximum": 10},
        {"type": "string", "enum": ["free"]},
    ],
}
_LOWEST = told("Lowest note of the upper voices, or of the bass.", "Eb3")
_HIGHEST = told("Highest note.", "C6")
_EXAMPLE_RANGE = {"lowest": "Eb3", "highest": "C6"}


class RangeSchema(Request):
    """The range to play in; an end left out is the situation's."""

    lowest = Text(metadata=_LOWEST)
    highest = Text(metadata=_HIGHEST)


class ResolvedRangeSchema(Answer):
    """The range to play in."""

    lowest = Text(required=True, metadata=_LOWEST)
    highest = Text(required=True, metadata=_HIGHEST)


def _word(words: tuple[str, ...], description: str, required: bool) -> Text:
    return Text(required=required, metadata=told(description, words[0], enum=list(words)))


def _fields(required: bool, part: type[RangeSchema] | type[ResolvedRangeSchema]) -> dict[str, Any]:
    """The fields of a setting: all optional on the way in, all there on the way out."""
    return {
        "bass_player": Flag(
            required=required, metadata=told("Whether somebody else plays the bass.", True)
        ),
        "hands": _word(HANDS, "The hands that play.", required),
        "families": Several(
            Text(metadata=told("A family's id.", "rootless", enum=list(FAMILIES))),
            required=required,
            metadata=told("Families to choose voicings from.", ["guide-tone-extended", "fourths"]),
        ),
        "notes": Raw(
            {"$ref": "#/components/schemas/NotesOrFree"},
            required=required,
            metadata=told("Upper notes of every voicing, bass excluded; or free.", 5),
        ),
        "split_cost": Whole(
            required=required,
            metadata=told("Semitones that a split or merge of voices costs, with free notes.", 12,
                          minimum=0, maximum=127),
        ),
        "tensions": _word(
            TENSIONS[::-1],
            "Only the degrees written, those available too, or those of the chord's function.",
            required,
        ),
        "reach": Text(
            metadata=told("A hand's reach by name.", "ninth", enum=list(REACHES)),
        ),
        "reach_mm": Number(
            required=required,
            metadata=told("Greatest distance of a hand's outer key centres, in mm.", 198.0),
        ),
        "range": Part(
            part,
            required=required,
            metadata=told("The range to play in.", _EXAMPLE_RANGE),
        ),
        "home": Text(
            required=required, metadata=told("Pitch that the voicings keep near.", "F4")
        ),
        "repeats": _word(
            REPEATS, "Whether a chord struck again holds its voicing or changes it.", required
        ),
        "low_interval_limits": _word(
            LOW_LIMITS, "How low close intervals may lie.", required
        ),
        "waive": Several(
            Text(metadata=told("A hard rule.", RULES[0], enum=list(RULES))),
            required=required,
            metadata=told("Hard rules left off on request.", []),
        ),
        "melody": _word(
            MELODY,
            "What is done about the notes sung or played over a chord: avoid keeps clear of minor "
            "seconds and ninths with them wherever that can be, and below them wherever something "
            "lies there; below "
            "stays below them; carry has the highest of them on top; ignore does nothing.",
            required,
        ),
    }  # fmt: skip


_PRESET = Text(
    metadata=told(
        "A setting by situation, listed by `GET /v1/settings`; fields beside it override its own.",
        "small-hands",
        enum=list(PRESETS),
    )
)

SettingSchema = Request.from_dict(
    {"preset": _PRESET, **_fields(False, RangeSchema)}, name="SettingSchema"
)
SettingSchema.__doc__ = "Who plays and what is allowed; what is left out follows the situation."
ResolvedSettingSchema = Answer.from_dict(
    _fields(True, ResolvedRangeSchema), name="ResolvedSettingSchema"
)
ResolvedSettingSchema.__doc__ = "The setting in full; sent again, it gives the same answer."


class PresetSchema(Answer):
    """A setting by situation."""

    id = Text(required=True, metadata=told("Its name, for `preset` in a setting.", "small-hands"))
    about = Text(required=True, metadata=told("Whom it is for.", "neither hand stretches far"))
    sets = Raw(
        {"$ref": "#/components/schemas/Setting"},
        required=True,
        metadata=told("The fields that it sets.", {"reach": "octave"}),
    )
    setting = Part(ResolvedSettingSchema, required=True, metadata=told("The setting in full."))


class PresetsSchema(Answer):
    """All presets."""

    settings = Several(Part(PresetSchema), required=True, metadata=told("All of them."))


SETTING = {"$ref": "#/components/schemas/Setting"}
