"""Chords: what a symbol stands for."""

from shortway.wire.schemas.fields import (
    Answer,
    Part,
    Raw,
    Request,
    Several,
    Sized,
    Text,
    Whole,
    told,
)
from shortway.wire.schemas.problems import ProblemSchema

MAX_SYMBOLS = 1000


class ToneSchema(Answer):
    """A degree of a chord."""

    degree = Text(required=True, metadata=told("Degree over the root.", "b7"))
    note = Text(required=True, metadata=told("Its note, spelled after the chord.", "Db"))
    pitch_class = Whole(
        required=True, metadata=told("0 for C to 11 for B.", 1, minimum=0, maximum=11)
    )


class KindDegreeSchema(Answer):
    """A degree child of a MusicXML kind."""

    value = Whole(required=True, metadata=told("The degree's number.", 9))
    alter = Whole(required=True, metadata=told("Semitones that alter it.", -1))
    type = Text(
        required=True,
        metadata=told("What is done with it.", "add", enum=["add", "alter", "subtract"]),
    )


class ChordSchema(Answer):
    """What a symbol stands for. N.C. has no root and no tones."""

    symbol = Text(required=True, metadata=told("As written.", "Eb7(b9)"))
    name = Text(
        required=True,
        metadata=told("The canonical spelling, which reads back as the same chord.", "Eb7b9"),
    )
    root = Text(
        required=True, allow_none=True, metadata=told("The root's note; null in N.C.", "Eb")
    )
    bass = Text(
        required=True, allow_none=True, metadata=told("The slash bass, where one is written.", None)
    )
    kind = Text(required=True, metadata=told("MusicXML 4.0 kind.", "dominant"))
    kind_degrees = Several(
        Part(KindDegreeSchema),
        required=True,
        metadata=told("The kind's degree children.", [{"value": 9, "alter": -1, "type": "add"}]),
    )
    harte = Text(required=True, metadata=told("Harte's label.", "Eb:7(b9)"))
    tones = Several(
        Part(ToneSchema),
        required=True,
        metadata=told("All that the symbol implies.",
                      [{"degree": "1", "note": "Eb", "pitch_class": 3}]),
    )  # fmt: skip
    guide_tones = Several(
        Text(), required=True, metadata=told("Third and seventh, or their stand-ins.", ["3", "b7"])
    )
    tensions = Several(
        Part(ToneSchema),
        required=True,
        metadata=told("Degrees that may be added.",
                      [{"degree": "13", "note": "C", "pitch_class": 0}]),
    )  # fmt: skip
    avoid = Several(
        Text(),
        required=True,
        metadata=told("Natural degrees a half step above a chord tone.", ["11"]),
    )


class ChordQuerySchema(Request):
    """The query of one symbol."""

    symbol = Text(
        required=True,
        metadata=told("One chord symbol. In an address write + as %2B and # as %23.", "Abm7b5/Gb"),
    )


class ChordsRequestSchema(Request):
    """Symbols to be read."""

    symbols = Several(
        Text(metadata=told("A chord symbol.", "Eb7")),
        required=True,
        validate=Sized(0, MAX_SYMBOLS),
        metadata=told("Chord symbols, up to 1,000.", ["Eb7", "Abm7b5/Gb"]),
    )


class UnreadSymbolSchema(Answer):
    """A symbol that cannot be read, in the place of its chord."""

    symbol = Text(required=True, metadata=told("As written.", "Xm7"))
    problem = Part(ProblemSchema, required=True, metadata=told("Why it cannot be read."))


class ChordListSchema(Answer):
    """Chords in the order of their symbols."""

    chords = Several(
        Raw({"$ref": "#/components/schemas/ChordOrUnreadSymbol"}),
        required=True,
        metadata=told("A chord for each symbol, or why it cannot be read."),
    )
