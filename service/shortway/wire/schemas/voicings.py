"""Voicings: the notes that one player strikes."""

from shortway.core.charts.json_entries import COLOURS, MOST_MELODY
from shortway.core.harmony.context import FUNCTIONS
from shortway.core.settings.fields import MOST_NOTES
from shortway.core.settings.prices import PRICES
from shortway.core.theory.pitch import DEGREES
from shortway.wire.fields import (
    Between,
    CoreOptions,
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
    doc,
)
from shortway.wire.schemas.charts import CEILING, COLOURS_TOLD, MELODY, PITCH, TOP
from shortway.wire.schemas.chords import ChordSchema
from shortway.wire.schemas.settings import SETTING, ResolvedSettingSchema

MAX_PAGE = 1000

_NOTE = {"midi": 55, "note": "G3", "degree": "3", "bass": False}


class NoteSchema(ResponseSchema):
    """A note that a hand strikes."""

    midi = StrictInteger(
        required=True, metadata=doc("MIDI number; C4 is 60.", 55, minimum=0, maximum=127)
    )
    note = StrictString(required=True, metadata=doc("Its name, spelled after the chord.", "G3"))
    degree = StrictString(required=True, metadata=doc("Its degree over the root.", "3"))
    bass = StrictBoolean(
        required=True, metadata=doc("Whether it is the bass note that nobody else plays.", False)
    )


class SpansSchema(ResponseSchema):
    """How far each hand stretches."""

    left = StrictNumber(
        required=True,
        allow_none=True,
        metadata=doc("Distance of the left hand's outer key centres in mm; null: idle.", 88.1),
    )
    right = StrictNumber(
        required=True,
        allow_none=True,
        metadata=doc("Distance of the right hand's outer key centres in mm; null: idle.", None),
    )


class VoicingSchema(ResponseSchema):
    """The notes that one player strikes, low to high."""

    family = StrictString(
        required=True, metadata=doc("The family that has it.", "guide-tone-extended")
    )
    form = StrictString(
        required=True,
        allow_none=True,
        metadata=doc("A: the third lies below the seventh. B: above it. Null: neither.", "A",
                      enum=["A", "B", None]),
    )  # fmt: skip
    left = StrictList(
        StrictNested(NoteSchema), required=True, metadata=doc("The left hand's notes.", [_NOTE])
    )
    right = StrictList(
        StrictNested(NoteSchema), required=True, metadata=doc("The right hand's notes.", [_NOTE])
    )
    midi = StrictList(
        StrictInteger(),
        required=True,
        metadata=doc("All its notes, ascending.", [55, 61, 65, 70, 75]),
    )
    span_mm = StrictNested(
        SpansSchema,
        required=True,
        metadata=doc("How far each hand stretches.", {"left": 82.3, "right": 141.0}),
    )


class PriceItemSchema(ResponseSchema):
    """A price that is due."""

    name = StrictString(
        required=True, metadata=doc("The price's name.", "top-note-held", enum=list(PRICES))
    )
    count = StrictInteger(required=True, metadata=doc("How often it is due.", 1))
    total = StrictInteger(required=True, metadata=doc("Semitones that this makes in all.", 3))


class ListedVoicingSchema(VoicingSchema):
    """A voicing with its price, and its cost where it was ranked after a sounding one."""

    price = StrictInteger(required=True, metadata=doc("Semitones of all its prices together.", 2))
    price_items = StrictList(
        StrictNested(PriceItemSchema),
        required=True,
        metadata=doc("The prices that are due.", [{"name": "register", "count": 1, "total": 2}]),
    )
    motion = StrictInteger(metadata=doc("Semitones moved into it from the notes in `after`.", 7))
    cost = StrictInteger(
        metadata=doc("That motion and its price; moves from notes alone have no price.", 9)
    )


class ContextRequestSchema(RequestSchema):
    """What a chord does where it stands, as a path's step says it."""

    function = StrictString(
        validate=OneOf(FUNCTIONS), metadata=doc("Its function there.", "dominant")
    )
    goal = StrictString(metadata=doc("The key or chord that it is heard towards.", "Cm"))
    why = StrictString(metadata=doc("The reason.", "falls a fifth to Cm6, a minor chord"))
    colours = StrictList(
        StrictString(validate=OneOf(COLOURS)),
        required=True,
        metadata=doc(
            "Degrees that a voicing may add to what the symbol writes.", ["b9", "#9", "b13"]
        ),
    )
    wants = StrictList(
        StrictList(StrictString(validate=OneOf(tuple(DEGREES)))),
        validate=Length(0, 8),
        metadata=doc(
            "Groups of degrees that it asks for; any one degree of a group satisfies it.",
            [["b9", "#9"], ["b13", "#5"]],
        ),
    )


class VoicingsRequestSchema(RequestSchema):
    """A symbol whose voicings are asked for."""

    symbol = StrictString(required=True, metadata=doc("A chord symbol.", "Eb7"))
    setting = CoreOptions(SETTING, metadata=doc("Who plays and what is allowed."))
    after = StrictList(
        StrictInteger(validate=Between(0, 127), metadata=doc("A MIDI number.", 56)),
        validate=Length(1, MOST_NOTES),
        metadata=doc("Notes that sound already, as MIDI numbers: the least costly come first.",
                      [56, 60, 65, 70, 75]),
    )  # fmt: skip
    melody = StrictList(CoreValue(PITCH), validate=Length(0, MOST_MELODY), metadata=MELODY)
    ceiling = CoreValue(PITCH, metadata=CEILING)
    top = CoreValue(PITCH, metadata=TOP)
    colours = StrictList(StrictString(validate=OneOf(COLOURS)), metadata=COLOURS_TOLD)
    context = StrictNested(
        ContextRequestSchema,
        metadata=doc("What the chord does where it stands; `colours` overrides its colours."),
    )
    limit = StrictInteger(
        load_default=100,
        validate=Between(1, MAX_PAGE),
        metadata=doc("Voicings in the answer.", 100),
    )
    offset = StrictInteger(
        load_default=0,
        validate=Between(0, 1_000_000_000),
        metadata=doc("Voicings skipped before them.", 0),
    )


class VoicingPageSchema(ResponseSchema):
    """A page of a chord's voicings, in an order that does not change."""

    chord = StrictNested(ChordSchema, required=True, metadata=doc("The chord as read."))
    setting = StrictNested(
        ResolvedSettingSchema, required=True, metadata=doc("The setting in full.")
    )
    total = StrictInteger(required=True, metadata=doc("Voicings over all pages.", 18))
    voicings = StrictList(
        StrictNested(ListedVoicingSchema), required=True, metadata=doc("This page of them.")
    )
