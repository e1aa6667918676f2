"""Charts: measures of symbols. Their contents are checked by the core."""

from typing import Any

from shortway.core.charts.json_entries import COLOURS, MOST_MELODY
from shortway.wire.schemas.example_score import PACKED_SHEET, SHEET
from shortway.wire.schemas.fields import (
    Answer,
    Number,
    OneOf,
    Part,
    Raw,
    Request,
    Several,
    Sized,
    Text,
    Whole,
    told,
)

_BEATS = told("How long it lasts, in the meter's unit.", 4, exclusiveMinimum=0)
_SYMBOL = told("A chord symbol, or N.C.", "Eb7")
_TITLE = told("The chart's title.", "Lift to the Roof Bar")
_KEY = told("The key, with m for minor; it changes nothing in what symbols mean.", "Eb")
_METER = told("Beats in a measure over the note that is one beat.", "4/4")
_ORDER = told("The measures as played, by their numbers from 1; each once where missing.",
              [1, 2, 1, 3])  # fmt: skip

_METERS = told("Changes of meter after the first measure.", [{"measure": 5, "meter": "3/4"}])
_KEYS = told("Changes of key after the first measure.", [{"measure": 9, "key": "F"}])
_FRESH = told(
    "Measures that begin afresh, ascending: no chord before them is heard as leading into them.",
    [5, 9],
)
MELODY = told("Notes that someone else sings or plays over it.", ["E5", "G5"])
CEILING = told("Every note stays below this one.", "C5")
TOP = told("The note on top.", "G5")
COLOURS_TOLD = told(
    "Degrees that may be added to what the symbol writes, whatever the chord's function.",
    ["b9", "b13"],
)

_NUMBER = Whole(metadata=told("A measure's number.", 1, minimum=1))

CHART = {"$ref": "#/components/schemas/ChartInput"}


PITCH: dict[str, Any] = {
    "oneOf": [{"type": "string"}, {"type": "integer", "minimum": 0, "maximum": 127}]
}


class ChordInputSchema(Request):
    """A chord of a measure; chords that all leave out their beats share the measure.

    Notes are names with an octave, or MIDI numbers.
    """

    symbol = Text(required=True, metadata=_SYMBOL)
    beats = Number(metadata=_BEATS)
    melody = Several(Raw(PITCH), validate=Sized(0, MOST_MELODY), metadata=MELODY)
    ceiling = Raw(PITCH, metadata=CEILING)
    top = Raw(PITCH, metadata=TOP)
    colours = Several(Text(validate=OneOf(COLOURS)), metadata=COLOURS_TOLD)


class MeterChangeInputSchema(Request):
    """Another meter, from a measure on."""

    measure = Whole(required=True, metadata=told("The measure's number.", 5, minimum=2))
    meter = Text(required=True, metadata=_METER)


class KeyChangeInputSchema(Request):
    """Another key, from a measure on."""

    measure = Whole(required=True, metadata=told("The measure's number.", 9, minimum=2))
    key = Text(required=True, metadata=_KEY)


class ChartObjectSchema(Request):
    """A chart in its JSON form. Beats fill each measure; the first and the last may be short."""

    title = Text(metadata=_TITLE)
    key = Text(metadata=_KEY)
    meter = Text(metadata=_METER)
    measures = Several(
        Several(Part(ChordInputSchema), metadata=told("The chords of a measure.")),
        required=True,
        metadata=told("Measures as written.", [[{"symbol": "Eb7", "beats": 4}]], minItems=1),
    )
    order = Several(_NUMBER, metadata=_ORDER)
    meters = Several(Part(MeterChangeInputSchema), metadata=_METERS)
    keys = Several(Part(KeyChangeInputSchema), metadata=_KEYS)
    fresh = Several(_NUMBER, metadata=_FRESH)


class MusicXmlChartSchema(Request):
    """A lead sheet as MusicXML."""

    musicxml = Text(required=True, metadata=told("The whole document.", SHEET))


class MxlChartSchema(Request):
    """A lead sheet as compressed MusicXML."""

    mxl = Text(
        required=True,
        metadata=told("The whole file in base64.", PACKED_SHEET, contentEncoding="base64"),
    )


class ChordInMeasureSchema(Answer):
    """A chord of a measure."""

    symbol = Text(required=True, metadata=_SYMBOL)
    beats = Number(required=True, metadata=_BEATS)
    melody = Several(Text(), metadata=MELODY)
    ceiling = Text(metadata=CEILING)
    top = Text(metadata=TOP)
    colours = Several(Text(), metadata=COLOURS_TOLD)


class MeterChangeSchema(Answer):
    """Another meter, from a measure on."""

    measure = Whole(required=True, metadata=told("The measure's number.", 5, minimum=2))
    meter = Text(required=True, metadata=_METER)


class KeyChangeSchema(Answer):
    """Another key, from a measure on."""

    measure = Whole(required=True, metadata=told("The measure's number.", 9, minimum=2))
    key = Text(required=True, metadata=_KEY)


class ChartSchema(Answer):
    """A chart as read; sent again, it is the same chart."""

    title = Text(metadata=_TITLE)
    key = Text(metadata=_KEY)
    meter = Text(required=True, metadata=_METER)
    measures = Several(
        Several(Part(ChordInMeasureSchema), metadata=told("The chords of a measure.")),
        required=True,
        metadata=told("Measures as written.", [[{"symbol": "Eb7", "beats": 4}]]),
    )
    order = Several(_NUMBER, metadata=_ORDER)
    meters = Several(Part(MeterChangeSchema), metadata=_METERS)
    keys = Several(Part(KeyChangeSchema), metadata=_KEYS)
    fresh = Several(_NUMBER, metadata=_FRESH)


class StepSchema(Answer):
    """One chord occurrence of the unrolled chart."""

    measure = Whole(required=True, metadata=told("The written measure, from 1.", 1, minimum=1))
    beat = Number(required=True, metadata=told("Where in the measure it begins, from 1.", 1))
    beats = Number(required=True, metadata=_BEATS)
    symbol = Text(required=True, metadata=_SYMBOL)
    melody = Several(Text(), metadata=MELODY)
    ceiling = Text(metadata=CEILING)
    top = Text(metadata=TOP)
    colours = Several(Text(), metadata=COLOURS_TOLD)


class ReadingSchema(Answer):
    """A chart as read, and its steps in playing order."""

    chart = Part(ChartSchema, required=True, metadata=told("The chart as read."))
    steps = Several(
        Part(StepSchema), required=True, metadata=told("Its steps; the first is step 0.")
    )
