"""Exercises: a chart, an order of keys, and what they come to."""

from shortway.core.exercises.difficulty import NAMED, WEIGHTS
from shortway.core.exercises.exercise import FORMULAS
from shortway.core.exercises.key_orders import KEY_ORDERS, MAX_KEYS
from shortway.wire.fields import (
    Length,
    OneOf,
    ResponseSchema,
    StrictBoolean,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictNumber,
    StrictString,
    doc,
)
from shortway.wire.schemas.charts import ChartSchema
from shortway.wire.schemas.paths import START_FROM, TOP_LINE, ChartRequestSchema, VoicingPathSchema

_ORDERS = "; ".join(f"`{name}`: {order.about}" for name, order in KEY_ORDERS.items())
_KEY = doc("A key, with m for minor, as players name it.", "Eb")


class ExerciseRequestSchema(ChartRequestSchema):
    """A chart, and the keys that it goes through."""

    key_order = StrictString(
        "The order of the keys, from the chart's own; `fourths` where neither it nor `keys` is"
        f" given. {_ORDERS}.",
        "fourths",
        validate=OneOf(tuple(KEY_ORDERS)),
    )
    keys = StrictList(
        StrictString("A tonic.", "Eb"),
        "Tonics in the order wanted, in place of `key_order`; a key may come again.",
        ["Eb", "Db", "B"],
        validate=Length(1, MAX_KEYS),
    )
    formula = StrictString(
        "`same`: every key plays the same voicings, transposed, in the octave that makes the "
        "whole cost least; a default range is widened by five semitones at each end, a given one "
        "by as little as is needed. `best`: whatever costs least.",
        "same",
        validate=OneOf(FORMULAS),
        load_default="same",
        default="same",
    )
    top_line = TOP_LINE
    start_from = START_FROM


class KeySectionSchema(ResponseSchema):
    """Where the exercise is in one key."""

    key = StrictString(metadata=_KEY)
    semitones = StrictInteger(
        "From the chart's own key, -5 to 6; by so much melody, ceiling and top move.", 3
    )
    measure = StrictInteger("Its first measure, from 1.", 13, minimum=1)
    step = StrictInteger("Its first step, from 0.", 12)
    steps = StrictInteger("How many steps it has.", 4)
    motion = StrictInteger(
        "The join: semitones moved into its first chord; null where all is N.C.", 4, null=True
    )
    difficulty = StrictInteger(
        "The mean of its steps' difficulty, 0 to 100; null where all is N.C.", 34, null=True
    )


class StepDifficultySchema(ResponseSchema):
    """How hard a step is under the hands."""

    step = StrictInteger("From 0.", 12)
    measure = StrictInteger("From 1.", 13, minimum=1)
    difficulty = StrictInteger(
        "0 to 100: each quantity as a share of the most it may be, weighed "
        + ", ".join(f"`{name}` {weight}" for name, weight in WEIGHTS.items())
        + ".",
        34,
    )
    span_mm = StrictNumber(
        "Of the hand that is spread wider; the most is the setting's reach.", 94.0
    )
    moved = StrictInteger(
        "Notes that their hand did not hold in the step before; the most is all notes.", 2
    )
    distance_mm = StrictNumber(
        "By how much the middle of a hand travels, of the one that travels further; the most is "
        "an octave, 164.5.",
        23.5,
    )
    black_keys = StrictInteger("Notes on black keys; the most is all notes.", 1)


class PathDifficultySchema(ResponseSchema):
    """How hard the path is, step by step; N.C. is passed over."""

    steps = StrictList(StrictNested(StepDifficultySchema), "Its steps in order.")
    hardest_measures = StrictList(
        StrictInteger("A measure, from 1.", 13),
        f"The {NAMED} hardest, the hardest first: a measure is as hard as its hardest step.",
        [13, 5, 9],
    )
    easiest_measures = StrictList(
        StrictInteger("A measure, from 1.", 4), f"The {NAMED} easiest, the easiest first.", [4, 8]
    )


class ExerciseSchema(ResponseSchema):
    """A chart in one key after another, and the one path through them."""

    key = StrictString("The chart's own key.", "Eb")
    inferred = StrictBoolean("Whether that was read off the chords, the chart naming none.", False)
    key_order = StrictString(
        "The order of the keys; null where they were listed.",
        "fourths",
        null=True,
        enum=[*KEY_ORDERS, None],
    )
    formula = StrictString(
        "`same` where every key plays the same voicings, transposed; `best` where that was "
        "asked for, or where some chord has no voicing that all keys can play.",
        "same",
        enum=list(FORMULAS),
    )
    keys = StrictList(StrictString(), "The keys in the order played.", ["Eb", "Db", "B"])
    sections = StrictList(StrictNested(KeySectionSchema), "Where each of the keys is.")
    chart = StrictNested(
        ChartSchema, "All of it as one chart, repeats written out; to be sent to any call."
    )
    path = StrictNested(VoicingPathSchema, "The path of least cost through it all.")
    difficulty = StrictNested(PathDifficultySchema, "How hard it is under the hands.")
