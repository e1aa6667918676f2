"""Exercises: a chart, a way through the keys, and what they come to."""

from typing import Any

from shortway.core.exercises.exercise import KEY_ORDERS, MOST_KEYS
from shortway.wire.schemas.charts import ChartSchema
from shortway.wire.schemas.fields import Answer, Flag, Part, Raw, Several, Text, Whole, told
from shortway.wire.schemas.paths import START_FROM, TOP_LINE, ChartRequestSchema, PathSchema

_KEYS: dict[str, Any] = {
    "type": "array",
    "items": {"type": "string"},
    "minItems": 1,
    "maxItems": MOST_KEYS,
}
WAY: dict[str, Any] = {"oneOf": [{"type": "string", "enum": list(KEY_ORDERS)}, _KEYS]}
_WAY_ABOUT = "; ".join(f"`{name}`: {way.about}" for name, way in KEY_ORDERS.items())
_KEY = told("A key, with m for minor, as players name it.", "Eb")


class ExerciseRequestSchema(ChartRequestSchema):
    """A chart, and the way it goes through the keys."""

    way = Raw(
        WAY,
        load_default="fourths",
        metadata=told(
            f"The order of the keys, from the chart's own. {_WAY_ABOUT}. Or a list of tonics in"
            " the order wanted; a key may come again.",
            "fourths",
            default="fourths",
        ),
    )
    top_line = TOP_LINE
    start_from = START_FROM


class InKeySchema(Answer):
    """Where the exercise is in one key."""

    key = Text(required=True, metadata=_KEY)
    semitones = Whole(
        required=True,
        metadata=told(
            "From the chart's own key, -5 to 6; by so much melody, ceiling and top move.", 3
        ),
    )
    measure = Whole(required=True, metadata=told("Its first measure, from 1.", 13, minimum=1))
    step = Whole(required=True, metadata=told("Its first step, from 0.", 12))
    steps = Whole(required=True, metadata=told("How many steps it has.", 4))
    motion = Whole(
        required=True,
        allow_none=True,
        metadata=told("The join: semitones moved into its first chord; null where all is N.C.", 4),
    )


class ExerciseSchema(Answer):
    """A chart in all the keys of a way, and the one path through them."""

    key = Text(required=True, metadata=told("The chart's own key.", "Eb"))
    inferred = Flag(
        required=True,
        metadata=told("Whether that was read off the chords, the chart naming none.", False),
    )
    way = Raw(WAY, required=True, metadata=told("The way, or the list of keys.", "fourths"))
    keys = Several(Part(InKeySchema), required=True, metadata=told("The keys in the order played."))
    chart = Part(
        ChartSchema,
        required=True,
        metadata=told("All of it as one chart, repeats written out; to be sent to any call."),
    )
    path = Part(
        PathSchema, required=True, metadata=told("The path with the least motion through it all.")
    )
