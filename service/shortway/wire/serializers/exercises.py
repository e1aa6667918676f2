"""An exercise as the dict of the wire.

Knows the core and no format.
"""

import orjson

from shortway.core.exercises.exercise import Exercise
from shortway.wire.serializers import Json
from shortway.wire.serializers.charts import chart_json
from shortway.wire.serializers.paths import path_bytes


def exercise_json(exercise: Exercise) -> Json:
    """The JSON of `exercise_bytes` as values."""
    found: Json = orjson.loads(exercise_bytes(exercise))
    return found


def exercise_bytes(exercise: Exercise) -> bytes:
    """The JSON of an exercise: keys in order, the chart written out, the path through it."""
    return orjson.dumps(
        {
            "key": exercise.key,
            "inferred": exercise.inferred,
            "key_order": exercise.key_order,
            "keys": list(exercise.keys),
            "formula": exercise.formula,
            "sections": exercise.sections,
            "chart": chart_json(exercise.chart),
            "path": orjson.Fragment(path_bytes(exercise.path)),
            "difficulty": {
                "steps": [step._asdict() for step in exercise.difficulty.steps],
                "hardest_measures": exercise.difficulty.hardest_measures,
                "easiest_measures": exercise.difficulty.easiest_measures,
            },
        }
    )
