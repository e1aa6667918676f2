"""Charts: measures of symbols. Their contents are checked by the core."""

from collections.abc import Mapping
from typing import Final

from marshmallow import ValidationError

from shortway.core.charts import MEASURE_EACH
from shortway.core.charts.json_entries import COLOURS, MOST_MELODY
from shortway.scores.chart_files.formats import DEFAULT_FORMAT, TEXT_FORMATS
from shortway.scores.sound import TEMPO
from shortway.wire.example_score import PACKED_SHEET, SHEET
from shortway.wire.fields import (
    CoreValue,
    FieldError,
    Length,
    OneOf,
    RequestSchema,
    ResponseSchema,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictNumber,
    StrictString,
    doc,
)

_BEATS = doc("How long it lasts, in the meter's unit.", 4, exclusiveMinimum=0)
_SYMBOL = doc("A chord symbol, or N.C.", "Eb7")
_TITLE = doc("The chart's title.", "Lift to the Roof Bar")
_KEY = doc("The key, with m for minor; it changes nothing in what symbols mean.", "Eb")
_METER = doc("Beats in a measure over the note that is one beat.", "4/4")
_ORDER = doc(
    "The measures as played, by their numbers from 1; each once where missing.", [1, 2, 1, 3]
)

_METERS = doc("Changes of meter after the first measure.", [{"measure": 5, "meter": "3/4"}])
_KEYS = doc("Changes of key after the first measure.", [{"measure": 9, "key": "F"}])
_FRESH = doc(
    "Measures that begin afresh, ascending: no chord before them is heard as leading into them.",
    [5, 9],
)
_SECTIONS = doc("Named parts, ascending.", [{"measure": 1, "name": "A"}])
_SECTION_NAME = doc("Its name, as a score prints it.", "A")
MELODY = doc("Notes that someone else sings or plays over it.", ["E5", "G5"])
CEILING = doc("Every note stays below this one.", "C5")
TOP = doc("The note on top.", "G5")
COLOURS_TOLD = doc(
    "Degrees that may be added to what the symbol writes, whatever the chord's function.",
    ["b9", "b13"],
)

_NUMBER = StrictInteger("A measure's number.", 1, minimum=1)


class ChartChordInputSchema(RequestSchema):
    """A chord of a measure; chords that all leave out their beats share the measure.

    Notes are names with an octave.
    """

    symbol = StrictString(required=True, metadata=_SYMBOL)
    beats = StrictNumber(metadata=_BEATS)
    melody = StrictList(StrictString(), validate=Length(0, MOST_MELODY), metadata=MELODY)
    ceiling = StrictString(metadata=CEILING)
    top = StrictString(metadata=TOP)
    colours = StrictList(StrictString(validate=OneOf(COLOURS)), metadata=COLOURS_TOLD)


class MeterChangeInputSchema(RequestSchema):
    """Another meter, from a measure on."""

    measure = StrictInteger("The measure's number.", 5, required=True, minimum=2)
    meter = StrictString(required=True, metadata=_METER)


class KeyChangeInputSchema(RequestSchema):
    """Another key, from a measure on."""

    measure = StrictInteger("The measure's number.", 9, required=True, minimum=2)
    key = StrictString(required=True, metadata=_KEY)


class SectionInputSchema(RequestSchema):
    """A named part of a chart."""

    measure = StrictInteger("The measure that it begins with.", 1, required=True, minimum=1)
    name = StrictString(required=True, metadata=_SECTION_NAME)


class ChartInputSchema(RequestSchema):
    """A chart: exactly one of `text`, `measures`, `musicxml` and `mxl`.

    `text_format`, `measure_each` and `tempo` belong to `text`, all other fields to `measures`;
    `meter` to a `text` with the format lab, too.
    """

    text = StrictString("A chart as text.", "| Eb7 | Ab7 | Eb7 | % |")
    text_format = StrictString(
        "The format of `text`: a grid of bar lines, ChordPro, chord-and-time lines, ABC notation "
        "or RomanText.",
        DEFAULT_FORMAT,
        enum=list(TEXT_FORMATS),
        default=DEFAULT_FORMAT,
    )
    measure_each = StrictString(
        "What a measure of `text` is where symbols have no bar lines; for grid and chordpro.",
        "symbol",
        enum=list(MEASURE_EACH),
    )
    tempo = StrictNumber(
        "Quarter notes a minute at which chord-and-time lines are read; for lab. Estimated where "
        "missing.",
        120,
        minimum=TEMPO[0],
        maximum=TEMPO[1],
    )
    title = StrictString(metadata=_TITLE)
    key = StrictString(metadata=_KEY)
    meter = StrictString(metadata=_METER)
    measures = StrictList(
        StrictList(StrictNested(ChartChordInputSchema), "The chords of a measure."),
        "Measures as written. Beats fill each; the first and the last may be short.",
        [[{"symbol": "Eb7", "beats": 4}]],
    )
    order = StrictList(_NUMBER, metadata=_ORDER)
    meters = StrictList(StrictNested(MeterChangeInputSchema), metadata=_METERS)
    keys = StrictList(StrictNested(KeyChangeInputSchema), metadata=_KEYS)
    fresh = StrictList(_NUMBER, metadata=_FRESH)
    sections = StrictList(StrictNested(SectionInputSchema), metadata=_SECTIONS)

    musicxml = StrictString("A lead sheet as MusicXML, whole.", SHEET)
    mxl = StrictString(
        "A lead sheet as a compressed MusicXML file, in base64.",
        PACKED_SHEET,
        contentEncoding="base64",
    )


NO_CHART: Final = FieldError(
    "wrong-type", "this is not a chart", 'an object such as {"text": "| Dm7 | G7 |"}'
)


class ChartField(CoreValue):
    """A chart of a request; the core reads what is in it."""

    def __init__(self) -> None:
        super().__init__(
            {"$ref": "#/components/schemas/ChartInput"},
            "The chart.",
            {"text": "| Eb7 | Ab7 | Eb7 | % |"},
            required=True,
        )

    def _deserialize(self, value: object, *rest: object, **more: object) -> object:
        if not isinstance(value, Mapping):
            raise ValidationError([NO_CHART])
        return super()._deserialize(value, *rest, **more)


class ChartChordSchema(ResponseSchema):
    """A chord of a measure."""

    symbol = StrictString(metadata=_SYMBOL)
    beats = StrictNumber(metadata=_BEATS)
    melody = StrictList(StrictString(), optional=True, metadata=MELODY)
    ceiling = StrictString(optional=True, metadata=CEILING)
    top = StrictString(optional=True, metadata=TOP)
    colours = StrictList(StrictString(), optional=True, metadata=COLOURS_TOLD)


class MeterChangeSchema(ResponseSchema):
    """Another meter, from a measure on."""

    measure = StrictInteger("The measure's number.", 5, minimum=2)
    meter = StrictString(metadata=_METER)


class KeyChangeSchema(ResponseSchema):
    """Another key, from a measure on."""

    measure = StrictInteger("The measure's number.", 9, minimum=2)
    key = StrictString(metadata=_KEY)


class SectionSchema(ResponseSchema):
    """A named part of a chart."""

    measure = StrictInteger("The measure that it begins with.", 1, minimum=1)
    name = StrictString(metadata=_SECTION_NAME)


class ChartSchema(ResponseSchema):
    """A chart as read; sent again, it is the same chart."""

    title = StrictString(optional=True, metadata=_TITLE)
    key = StrictString(optional=True, metadata=_KEY)
    meter = StrictString(metadata=_METER)
    measures = StrictList(
        StrictList(StrictNested(ChartChordSchema), "The chords of a measure."),
        "Measures as written.",
        [[{"symbol": "Eb7", "beats": 4}]],
    )
    order = StrictList(_NUMBER, optional=True, metadata=_ORDER)
    meters = StrictList(StrictNested(MeterChangeSchema), optional=True, metadata=_METERS)
    keys = StrictList(StrictNested(KeyChangeSchema), optional=True, metadata=_KEYS)
    fresh = StrictList(_NUMBER, optional=True, metadata=_FRESH)
    sections = StrictList(StrictNested(SectionSchema), optional=True, metadata=_SECTIONS)


class ChartStepSchema(ResponseSchema):
    """One chord occurrence of the unrolled chart."""

    step = StrictInteger("Its number, from 0.", 0, optional=True, minimum=0)
    measure = StrictInteger("The written measure, from 1.", 1, minimum=1)
    repetition = StrictInteger(
        "How many times the measure has been played, this time included.",
        1,
        optional=True,
        minimum=1,
    )
    beat = StrictNumber("Where in the measure it begins, from 1.", 1)
    beats = StrictNumber(metadata=_BEATS)
    onset = StrictNumber("Quarter notes from the beginning of the chart.", 0, minimum=0)
    meter = StrictString("The measure's meter.", "4/4", optional=True)
    symbol = StrictString(metadata=_SYMBOL)
    line = StrictInteger(
        "The line of a text chart in which the symbol stands, or the % or / in its place; null in "
        "other charts.",
        1,
        optional=True,
        null=True,
        minimum=1,
    )
    column = StrictInteger(
        "The column of its first character, in code points.", 3, optional=True, null=True, minimum=1
    )
    length = StrictInteger("Its length in code points.", 3, optional=True, null=True, minimum=1)
    melody = StrictList(StrictString(), optional=True, metadata=MELODY)
    ceiling = StrictString(optional=True, metadata=CEILING)
    top = StrictString(optional=True, metadata=TOP)
    colours = StrictList(StrictString(), optional=True, metadata=COLOURS_TOLD)


class ChartReadingSchema(ResponseSchema):
    """A chart as read, and its steps in playing order."""

    chart = StrictNested(ChartSchema, "The chart as read.")
    steps = StrictList(StrictNested(ChartStepSchema), "Its steps; the first is step 0.")
    tempo = StrictNumber(
        "Quarter notes a minute at which chord-and-time lines were read, given or estimated; null "
        "for any other chart.",
        120,
        null=True,
    )
