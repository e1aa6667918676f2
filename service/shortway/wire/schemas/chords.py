"""Chords: what a symbol stands for."""

from shortway.wire.fields import (
    CoreValue,
    Length,
    RequestSchema,
    ResponseSchema,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictString,
    doc,
)
from shortway.wire.schemas.problems import ProblemSchema

MAX_SYMBOLS = 1000


class ToneSchema(ResponseSchema):
    """A degree of a chord."""

    degree = StrictString(required=True, metadata=doc("Degree over the root.", "b7"))
    note = StrictString(required=True, metadata=doc("Its note, spelled after the chord.", "Db"))
    pitch_class = StrictInteger(
        required=True, metadata=doc("0 for C to 11 for B.", 1, minimum=0, maximum=11)
    )


class KindDegreeSchema(ResponseSchema):
    """A degree child of a MusicXML kind."""

    value = StrictInteger(required=True, metadata=doc("The degree's number.", 9))
    alter = StrictInteger(required=True, metadata=doc("Semitones that alter it.", -1))
    type = StrictString(
        required=True,
        metadata=doc("What is done with it.", "add", enum=["add", "alter", "subtract"]),
    )


class ChordSchema(ResponseSchema):
    """What a symbol stands for. N.C. has no root and no tones."""

    symbol = StrictString(required=True, metadata=doc("As written.", "Eb7(b9)"))
    name = StrictString(
        required=True,
        metadata=doc("The canonical spelling, which reads back as the same chord.", "Eb7b9"),
    )
    root = StrictString(
        required=True, allow_none=True, metadata=doc("The root's note; null in N.C.", "Eb")
    )
    bass = StrictString(
        required=True, allow_none=True, metadata=doc("The slash bass, where one is written.", None)
    )
    kind = StrictString(required=True, metadata=doc("MusicXML 4.0 kind.", "dominant"))
    kind_degrees = StrictList(
        StrictNested(KindDegreeSchema),
        required=True,
        metadata=doc("The kind's degree children.", [{"value": 9, "alter": -1, "type": "add"}]),
    )
    harte = StrictString(required=True, metadata=doc("Harte's label.", "Eb:7(b9)"))
    tones = StrictList(
        StrictNested(ToneSchema),
        required=True,
        metadata=doc("All that the symbol implies.",
                      [{"degree": "1", "note": "Eb", "pitch_class": 3}]),
    )  # fmt: skip
    guide_tones = StrictList(
        StrictString(),
        required=True,
        metadata=doc("Third and seventh, or their stand-ins.", ["3", "b7"]),
    )
    tensions = StrictList(
        StrictNested(ToneSchema),
        required=True,
        metadata=doc("Degrees that may be added.",
                      [{"degree": "13", "note": "C", "pitch_class": 0}]),
    )  # fmt: skip
    avoid = StrictList(
        StrictString(),
        required=True,
        metadata=doc("Natural degrees a half step above a chord tone.", ["11"]),
    )


class ChordQuerySchema(RequestSchema):
    """The query of one symbol."""

    symbol = StrictString(
        required=True,
        metadata=doc("One chord symbol. In an address write + as %2B and # as %23.", "Abm7b5/Gb"),
    )


class ChordsRequestSchema(RequestSchema):
    """Symbols to be read."""

    symbols = StrictList(
        StrictString(metadata=doc("A chord symbol.", "Eb7")),
        required=True,
        validate=Length(0, MAX_SYMBOLS),
        metadata=doc("Chord symbols, up to 1,000.", ["Eb7", "Abm7b5/Gb"]),
    )


class UnreadSymbolSchema(ResponseSchema):
    """A symbol that cannot be read, in the place of its chord."""

    symbol = StrictString(required=True, metadata=doc("As written.", "Xm7"))
    problem = StrictNested(ProblemSchema, required=True, metadata=doc("Why it cannot be read."))


class ChordListSchema(ResponseSchema):
    """Chords in the order of their symbols."""

    chords = StrictList(
        CoreValue({"$ref": "#/components/schemas/ChordOrUnreadSymbol"}),
        required=True,
        metadata=doc("A chord for each symbol, or why it cannot be read."),
    )
