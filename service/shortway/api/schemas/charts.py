"""Charts: measures of symbols. Their contents are checked by the core."""

from shortway.api.fields import Answer, Number, Part, Request, Several, Text, Whole, told

_BEATS = told("How long it lasts, in the meter's unit.", 4, exclusiveMinimum=0)
_SYMBOL = told("A chord symbol, or N.C.", "Eb7")
_TITLE = told("The chart's title.", "Lift to the Roof Bar")
_KEY = told("The key, with m for minor; it changes nothing in what symbols mean.", "Eb")
_METER = told("Beats in a measure over the note that is one beat.", "4/4")
_ORDER = told("The measures as played, by their numbers from 1; each once where missing.",
              [1, 2, 1, 3])  # fmt: skip

_NUMBER = Whole(metadata=told("A measure's number.", 1, minimum=1))

CHART = {"$ref": "#/components/schemas/ChartInput"}


class ChordInputSchema(Request):
    """A chord of a measure; chords that all leave out their beats share the measure."""

    symbol = Text(required=True, metadata=_SYMBOL)
    beats = Number(metadata=_BEATS)


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


class ChordInMeasureSchema(Answer):
    """A chord of a measure."""

    symbol = Text(required=True, metadata=_SYMBOL)
    beats = Number(required=True, metadata=_BEATS)


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


class StepSchema(Answer):
    """One chord occurrence of the unrolled chart."""

    measure = Whole(required=True, metadata=told("The written measure, from 1.", 1, minimum=1))
    beat = Number(required=True, metadata=told("Where in the measure it begins, from 1.", 1))
    beats = Number(required=True, metadata=_BEATS)
    symbol = Text(required=True, metadata=_SYMBOL)


class ReadingSchema(Answer):
    """A chart as read, and its steps in playing order."""

    chart = Part(ChartSchema, required=True, metadata=told("The chart as read."))
    steps = Several(
        Part(StepSchema), required=True, metadata=told("Its steps; the first is step 0.")
    )
