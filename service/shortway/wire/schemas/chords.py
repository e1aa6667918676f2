"""Chords: what a symbol stands for."""

from shortway.wire.fields import (
    Length,
    RequestSchema,
    ResponseSchema,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictString,
)
from shortway.wire.schemas.problems import ProblemSchema

MAX_SYMBOLS = 1000


class ChordToneSchema(ResponseSchema):
    """A degree of a chord."""

    degree = StrictString("Degree over the root.", "b7")
    note = StrictString("Its note, spelled after the chord.", "Db")
    pitch_class = StrictInteger("0 for C to 11 for B.", 1, minimum=0, maximum=11)


class KindDegreeSchema(ResponseSchema):
    """A degree child of a MusicXML kind."""

    value = StrictInteger("The degree's number.", 9)
    alter = StrictInteger("Semitones that alter it.", -1)
    type = StrictString("What is done with it.", "add", enum=["add", "alter", "subtract"])


class ChordSchema(ResponseSchema):
    """What a symbol stands for. N.C. has no root and no tones."""

    symbol = StrictString("As written.", "Eb7(b9)")
    name = StrictString("The canonical spelling, which reads back as the same chord.", "Eb7b9")
    root = StrictString("The root's note; null in N.C.", "Eb", null=True)
    bass = StrictString("The slash bass, where one is written.", None, null=True)
    kind = StrictString("MusicXML 4.0 kind.", "dominant")
    kind_degrees = StrictList(
        StrictNested(KindDegreeSchema),
        "The kind's degree children.",
        [{"value": 9, "alter": -1, "type": "add"}],
    )
    harte = StrictString("Harte's label.", "Eb:7(b9)")
    tones = StrictList(
        StrictNested(ChordToneSchema),
        "All that the symbol implies.",
        [{"degree": "1", "note": "Eb", "pitch_class": 3}],
    )
    guide_tones = StrictList(StrictString(), "Third and seventh, or their stand-ins.", ["3", "b7"])
    tensions = StrictList(
        StrictNested(ChordToneSchema),
        "Degrees that may be added.",
        [{"degree": "13", "note": "C", "pitch_class": 0}],
    )
    avoid = StrictList(StrictString(), "Natural degrees a half step above a chord tone.", ["11"])


class ChordQuerySchema(RequestSchema):
    """The query of one symbol."""

    symbol = StrictString(
        "One chord symbol. In an address write + as %2B and # as %23.", "Abm7b5/Gb", required=True
    )


class ChordsRequestSchema(RequestSchema):
    """Symbols to be read."""

    symbols = StrictList(
        StrictString("A chord symbol.", "Eb7"),
        "Chord symbols, up to 1,000.",
        ["Eb7", "Abm7b5/Gb"],
        required=True,
        validate=Length(1, MAX_SYMBOLS),
    )


class SymbolReadingSchema(ResponseSchema):
    """A symbol's chord, or why it cannot be read."""

    symbol = StrictString("As written.", "Eb7")
    chord = StrictNested(ChordSchema, "Its chord; null where it cannot be read.", null=True)
    problem = StrictNested(ProblemSchema, "Why it cannot be read, else null.", null=True)


class ChordListSchema(ResponseSchema):
    """Chords in the order of their symbols."""

    chords = StrictList(
        StrictNested(SymbolReadingSchema), "A chord for each symbol, or why it cannot be read."
    )
