"""Exercises: a chart, a way through the keys, and what they come to."""

from typing import Any

from shortway.core.exercises.exercise import FORMULAS
from shortway.core.exercises.key_orders import KEY_ORDERS, MAX_KEYS
from shortway.wire.fields import (
    CoreValue,
    OneOf,
    ResponseSchema,
    StrictBoolean,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictString,
    doc,
)
from shortway.wire.schemas.charts import ChartSchema
from shortway.wire.schemas.paths import START_FROM, TOP_LINE, ChartRequestSchema, PathSchema

_KEYS: dict[str, Any] = {
    "type": "array",
    "items": {"type": "string"},
    "minItems": 1,
    "maxItems": MAX_KEYS,
}
WAY: dict[str, Any] = {"oneOf": [{"type": "string", "enum": list(KEY_ORDERS)}, _KEYS]}
_WAY_ABOUT = "; ".join(f"`{name}`: {way.about}" for name, way in KEY_ORDERS.items())
_KEY = doc("A key, with m for minor, as players name it.", "Eb")


class ExerciseRequestSchema(ChartRequestSchema):
    """A chart, and the way it goes through the keys."""

    way = CoreValue(
        WAY,
        f"The order of the keys, from the chart's own. {_WAY_ABOUT}. Or a list of tonics in"
        " the order wanted; a key may come again.",
        "fourths",
        load_default="fourths",
        default="fourths",
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


class ExerciseSchema(ResponseSchema):
    """A chart in all the keys of a way, and the one path through them."""

    key = StrictString("The chart's own key.", "Eb")
    inferred = StrictBoolean("Whether that was read off the chords, the chart naming none.", False)
    way = CoreValue(WAY, "The way, or the list of keys.", "fourths")
    formula = StrictString(
        "`same` where every key plays the same voicings, transposed; `best` where that was "
        "asked for, or where some chord has no voicing that all keys can play.",
        "same",
        enum=list(FORMULAS),
    )
    keys = StrictList(StrictNested(KeySectionSchema), "The keys in the order played.")
    chart = StrictNested(
        ChartSchema, "All of it as one chart, repeats written out; to be sent to any call."
    )
    path = StrictNested(PathSchema, "The path of least cost through it all.")
