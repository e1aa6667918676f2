"""An exercise: a chart through the keys, and one path through all of it."""

from collections.abc import Mapping
from typing import Any

from shortway.core.exercises.exercise import Exercise, exercise
from shortway.request_trace import SEARCH, phase
from shortway.services.read_chart import requested_chart


def write_exercise(request: Mapping[str, Any]) -> Exercise:
    """The exercise that a request asks for.

    `request`: the fields of `ExerciseRequestSchema`: each but the chart is an argument of the
    core's `exercise`.

    Raises ShortwayError with pointers into the request.
    """
    chart = requested_chart(request).chart
    options = {name: value for name, value in request.items() if name != "chart"}
    with phase(SEARCH):
        return exercise(chart, **options)
