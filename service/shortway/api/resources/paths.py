"""Paths: the best way through a chart."""

from collections.abc import Mapping
from typing import Any

from flask import Response

from shortway.api.http.responses import json_response
from shortway.api.resource import Resource
from shortway.request_trace import RENDERING, phase
from shortway.services.solve_path import solve_path
from shortway.wire.schemas.paths import PathRequestSchema, VoicingPathSchema
from shortway.wire.serializers.paths import path_bytes

calls = Resource("paths", "The best way through a chart")


@calls.post("/v1/paths", "findPath", VoicingPathSchema, body=PathRequestSchema)
def post_paths(body: Mapping[str, Any]) -> Response:
    """Find the best path

    One voicing for each step of the chart, such that the cost, motion and comfort prices, is the
    least of all there are; a tie is settled by a fixed order of preference. Open, or as a loop.
    """
    path = solve_path(body)
    with phase(RENDERING):
        return json_response(path_bytes(path, body["level"]))
