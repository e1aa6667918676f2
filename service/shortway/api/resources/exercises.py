"""Exercises: a chart through the keys."""

from collections.abc import Mapping
from typing import Any

from flask import Response

from shortway.api.http.responses import json_response
from shortway.api.resource import Resource
from shortway.request_trace import RENDERING, phase
from shortway.services.write_exercise import write_exercise
from shortway.wire.schemas.exercises import ExerciseRequestSchema, ExerciseSchema
from shortway.wire.serializers import exercises as wire_exercises

calls = Resource("exercises", "A chart through the keys")


@calls.post("/v1/exercises", "writeExercise", ExerciseSchema, body=ExerciseRequestSchema)
def post_exercises(body: Mapping[str, Any]) -> Response:
    """Write an exercise in all keys

    The chart, or a fragment of one, in key after key, and one path of least cost through
    all of it, the joins between keys included. The response's chart is an ordinary chart: with
    the same setting, loop, top_line and start_from `POST /v1/paths` returns the same path, and
    `POST /v1/scores` writes it.
    """
    found = write_exercise(body)
    with phase(RENDERING):
        return json_response(wire_exercises.exercise_bytes(found))
