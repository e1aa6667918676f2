"""An exercise as the dict of the wire.

Knows the core and no format.
"""

from __future__ import annotations

from shortway.core.exercises.exercise import Exercise
from shortway.wire.serializers import Json
from shortway.wire.serializers.charts import chart_json
from shortway.wire.serializers.paths import path_json


def exercise_json(exercise: Exercise) -> Json:
    """An exercise: its keys in order, the chart written out, and the path through it."""
    return {
        "key": exercise.key,
        "inferred": exercise.inferred,
        "key_order": exercise.key_order,
        "keys": list(exercise.keys),
        "formula": exercise.formula,
        "sections": [
            {
                "key": one.key,
                "semitones": one.semitones,
                "measure": one.measure,
                "step": one.step,
                "steps": one.steps,
                "motion": one.motion,
            }
            for one in exercise.sections
        ],
        "chart": chart_json(exercise.chart),
        "path": path_json(exercise.path),
    }
