"""Voicings: the notes that one player strikes."""

from shortway.core.charts.json_entries import COLOURS, MOST_MELODY
from shortway.core.harmony.context import FUNCTIONS
from shortway.core.settings.fields import MOST_NOTES
from shortway.core.settings.prices import PRICES
from shortway.core.theory.pitch import DEGREES
from shortway.wire.fields import (
    Between,
    CoreValue,
    Length,
    OneOf,
    RequestSchema,
    ResponseSchema,
    StrictBoolean,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictNumber,
    StrictString,
)
from shortway.wire.schemas.charts import CEILING, COLOURS_TOLD, MELODY, TOP
from shortway.wire.schemas.chords import ChordSchema
from shortway.wire.schemas.settings import SETTING, ResolvedSettingSchema

MAX_PAGE = 1000

_NOTE = {"midi": 55, "note": "G3", "degree": "3", "is_bass": False}


class NoteSchema(ResponseSchema):
    """A note that a hand strikes."""

    midi = StrictInteger("MIDI number; C4 is 60.", 55, minimum=0, maximum=127)
    note = StrictString("Its name, spelled after the chord.", "G3")
    degree = StrictString("Its degree over the root.", "3")
    is_bass = StrictBoolean("Whether it is the bass note that nobody else plays.", False)


class HandSpansSchema(ResponseSchema):
    """How far each hand stretches."""

    left = StrictNumber(
        "Distance of the left hand's outer key centres in mm; null: idle.", 88.1, null=True
    )
    right = StrictNumber(
        "Distance of the right hand's outer key centres in mm; null: idle.", None, null=True
    )


class VoicingSchema(ResponseSchema):
    """The notes that one player strikes, low to high."""

    family = StrictString("The family that has it.", "guide-tone-extended")
    form = StrictString(
        "A: the third lies below the seventh. B: above it. Null: neither.",
        "A",
        null=True,
        enum=["A", "B", None],
    )
    left = StrictList(StrictNested(NoteSchema), "The left hand's notes.", [_NOTE])
    right = StrictList(StrictNested(NoteSchema), "The right hand's notes.", [_NOTE])
    midi_notes = StrictList(StrictInteger(), "All its notes, ascending.", [55, 61, 65, 70, 75])
    span_mm = StrictNested(
        HandSpansSchema, "How far each hand stretches.", {"left": 82.3, "right": 141.0}
    )


class PriceItemSchema(ResponseSchema):
    """A price that is due."""

    name = StrictString("The price's name.", "top-note-held", enum=list(PRICES))
    count = StrictInteger("How often it is due.", 1)
    total = StrictInteger("Semitones that this makes in all.", 3)


class ListedVoicingSchema(VoicingSchema):
    """A voicing with its price, and its cost where it was ranked after a sounding one."""

    price = StrictInteger("Semitones of all its prices together.", 2)
    price_items = StrictList(
        StrictNested(PriceItemSchema),
        "The prices that are due.",
        [{"name": "register", "count": 1, "total": 2}],
    )
    motion = StrictInteger("Semitones moved into it from the notes in `after`.", 7, optional=True)
    cost = StrictInteger(
        "That motion and its price; moves from notes alone have no price.", 9, optional=True
    )


_EACH_COLOUR = Length(0, len(COLOURS))


class ChordContextInputSchema(RequestSchema):
    """What a chord does where it stands, as a path's step says it."""

    function = StrictString("Its function there.", "dominant", validate=OneOf(FUNCTIONS))
    goal = StrictString("The key or chord that it is heard towards.", "Cm")
    why = StrictString("The reason.", "falls a fifth to Cm6, a minor chord")
    colours = StrictList(
        StrictString(validate=OneOf(COLOURS)),
        "Degrees that a voicing may add to what the symbol writes; none where missing.",
        ["b9", "#9", "b13"],
        load_default=list,
        validate=_EACH_COLOUR,
    )
    wants = StrictList(
        StrictList(StrictString(validate=OneOf(tuple(DEGREES))), validate=Length(0, len(DEGREES))),
        "Groups of degrees that it asks for; any one degree of a group satisfies it.",
        [["b9", "#9"], ["b13", "#5"]],
        validate=Length(0, 8),
    )


class VoicingsRequestSchema(RequestSchema):
    """A symbol whose voicings are asked for."""

    symbol = StrictString("A chord symbol.", "Eb7", required=True)
    setting = CoreValue(SETTING, "Who plays and what is allowed.")
    after = StrictList(
        StrictInteger("A MIDI number.", 56, validate=Between(0, 127)),
        "Notes that sound already, as MIDI numbers: the least costly come first.",
        [56, 60, 65, 70, 75],
        validate=Length(1, MOST_NOTES),
    )
    melody = StrictList(StrictString(), validate=Length(0, MOST_MELODY), metadata=MELODY)
    ceiling = StrictString(metadata=CEILING)
    top = StrictString(metadata=TOP)
    colours = StrictList(
        StrictString(validate=OneOf(COLOURS)), validate=_EACH_COLOUR, metadata=COLOURS_TOLD
    )
    context = StrictNested(
        ChordContextInputSchema,
        "What the chord does where it stands; `colours` overrides its colours.",
    )
    limit = StrictInteger(
        "Voicings in the answer.", 100, load_default=100, validate=Between(1, MAX_PAGE)
    )
    offset = StrictInteger(
        "Voicings skipped before them.", 0, load_default=0, validate=Between(0, 1_000_000_000)
    )


class VoicingPageSchema(ResponseSchema):
    """A page of a chord's voicings, in an order that does not change."""

    chord = StrictNested(ChordSchema, "The chord as read.")
    setting = StrictNested(ResolvedSettingSchema, "The setting in full.")
    total = StrictInteger("Voicings over all pages.", 18)
    voicings = StrictList(StrictNested(ListedVoicingSchema), "This page of them.")
