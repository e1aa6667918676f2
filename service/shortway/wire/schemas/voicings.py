"""Voicings: the notes that one player strikes."""

from shortway.core.charts.json_entries import COLOURS, MOST_MELODY
from shortway.core.settings.setting import MOST_NOTES
from shortway.wire.schemas.charts import CEILING, COLOURS_TOLD, MELODY, PITCH, TOP
from shortway.wire.schemas.chords import ChordSchema
from shortway.wire.schemas.fields import (
    Answer,
    Between,
    Flag,
    Number,
    OneOf,
    Options,
    Part,
    Raw,
    Request,
    Several,
    Sized,
    Text,
    Whole,
    told,
)
from shortway.wire.schemas.settings import SETTING, ResolvedSettingSchema

MAX_PAGE = 1000

_NOTE = {"midi": 55, "note": "G3", "degree": "3", "bass": False}


class NoteSchema(Answer):
    """A note that a hand strikes."""

    midi = Whole(required=True, metadata=told("MIDI number; C4 is 60.", 55, minimum=0, maximum=127))
    note = Text(required=True, metadata=told("Its name, spelled after the chord.", "G3"))
    degree = Text(required=True, metadata=told("Its degree over the root.", "3"))
    bass = Flag(
        required=True, metadata=told("Whether it is the bass note that nobody else plays.", False)
    )


class SpansSchema(Answer):
    """How far each hand stretches."""

    left = Number(
        required=True,
        allow_none=True,
        metadata=told("Distance of the left hand's outer key centres in mm; null: idle.", 88.1),
    )
    right = Number(
        required=True,
        allow_none=True,
        metadata=told("Distance of the right hand's outer key centres in mm; null: idle.", None),
    )


class VoicingSchema(Answer):
    """The notes that one player strikes, low to high."""

    family = Text(required=True, metadata=told("The family that has it.", "guide-tone-extended"))
    form = Text(
        required=True,
        allow_none=True,
        metadata=told("A: the third lies below the seventh. B: above it. Null: neither.", "A",
                      enum=["A", "B", None]),
    )  # fmt: skip
    left = Several(
        Part(NoteSchema), required=True, metadata=told("The left hand's notes.", [_NOTE])
    )
    right = Several(
        Part(NoteSchema), required=True, metadata=told("The right hand's notes.", [_NOTE])
    )
    midi = Several(
        Whole(), required=True, metadata=told("All its notes, ascending.", [55, 61, 65, 70, 75])
    )
    span_mm = Part(
        SpansSchema,
        required=True,
        metadata=told("How far each hand stretches.", {"left": 82.3, "right": 141.0}),
    )


class ListedVoicingSchema(VoicingSchema):
    """A voicing, with its motion where it was ranked after a sounding one."""

    motion = Whole(metadata=told("Semitones moved into it from the notes in `after`.", 7))


class VoicingsRequestSchema(Request):
    """A symbol whose voicings are asked for."""

    symbol = Text(required=True, metadata=told("A chord symbol.", "Eb7"))
    setting = Options(SETTING, metadata=told("Who plays and what is allowed."))
    after = Several(
        Whole(validate=Between(0, 127), metadata=told("A MIDI number.", 56)),
        validate=Sized(1, MOST_NOTES),
        metadata=told("Notes that sound already, as MIDI numbers: the nearest voicings come first.",
                      [56, 60, 65, 70, 75]),
    )  # fmt: skip
    melody = Several(Raw(PITCH), validate=Sized(0, MOST_MELODY), metadata=MELODY)
    ceiling = Raw(PITCH, metadata=CEILING)
    top = Raw(PITCH, metadata=TOP)
    colours = Several(Text(validate=OneOf(COLOURS)), metadata=COLOURS_TOLD)
    limit = Whole(
        load_default=100,
        validate=Between(1, MAX_PAGE),
        metadata=told("Voicings in the answer.", 100),
    )
    offset = Whole(
        load_default=0,
        validate=Between(0, 1_000_000_000),
        metadata=told("Voicings skipped before them.", 0),
    )


class VoicingPageSchema(Answer):
    """A page of a chord's voicings, in an order that does not change."""

    chord = Part(ChordSchema, required=True, metadata=told("The chord as read."))
    setting = Part(ResolvedSettingSchema, required=True, metadata=told("The setting in full."))
    total = Whole(required=True, metadata=told("Voicings over all pages.", 18))
    voicings = Several(
        Part(ListedVoicingSchema), required=True, metadata=told("This page of them.")
    )
