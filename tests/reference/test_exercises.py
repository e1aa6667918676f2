"""Exercises against networkx: the whole path, joins included, is the least of all there are.

The layered graph of `support.layered` is made from the listed voicings of the exercise's chart; its
least motion is networkx's Dijkstra, in a loop once from every first voicing.
"""

from __future__ import annotations

from typing import Any

import pytest

from shortway.core import charts
from shortway.core.exercises.exercise import exercise
from shortway.core.solver.solve import solve
from support.layered import layered
from support.tables import each_row

MAJOR = "| Dm7 | G7 | Cmaj7 |"
MINOR = "key: Cm\n| Cm6 | Fm7 | Dm7b5 G7b9 |"
WALTZ: dict[str, Any] = {
    "key": "F",
    "meter": "3/4",
    "measures": [[{"symbol": "C7", "beats": 1}], [{"symbol": "Fmaj7"}], [{"symbol": "N.C."}]],
}
#: The least motion pure, which is what the graph counts.
NONE = {"pricing": "none"}
CASES: list[tuple[Any, str, dict[str, Any]]] = [
    (MAJOR, "fourths", {**NONE, "hands": "left"}),
    (MAJOR, "half-steps-down", {**NONE, "families": ["guide-tone-extended"]}),
    (MAJOR, "whole-steps-up", {**NONE, "families": ["rootless", "shell"], "notes_vary": True}),
    (MINOR, "fifths", {**NONE, "hands": "left"}),
    (MINOR, "minor-thirds-up", {**NONE, "families": ["guide-tone"], "bass_player": False}),
    (MINOR, "half-steps-up", {**NONE, "families": ["shell", "rootless-three"], "notes_vary": True}),
    (WALTZ, "minor-thirds-down", {**NONE, "hands": "right"}),
    (WALTZ, "whole-steps-down", {**NONE, "families": ["guide-tone-full"], "repeats": "change"}),
]


@each_row("chart, way, setting", CASES)
@each_row("loop", [False, True])
def test_no_way_through_all_keys_is_shorter(
    chart: Any, way: str, setting: dict[str, Any], loop: bool
) -> None:
    found = exercise(chart, way, setting, formula="best", loop=loop)
    graph = layered(charts.chart_json(found.chart), setting, loop=loop)
    assert found.path.cost == graph.by_networkx()


@pytest.mark.parametrize(("chart", "way", "setting"), CASES)
def test_keys_solved_one_by_one_and_joined_afterwards_are_never_shorter(
    chart: Any, way: str, setting: dict[str, Any]
) -> None:
    """Each key alone on its best path moves no more than its part does; the joins pay it back."""
    setting = {**setting, "pricing": "none"}
    found = exercise(chart, way, setting, formula="best")
    for one in found.sections:
        alone = exercise(chart, None, setting, keys=[one.key], formula="best").path
        steps = found.path.steps[one.step : one.step + one.steps]
        inner = sum(step.motion or 0 for step in steps) - (one.motion or 0)
        assert inner >= alone.motion
    assert solve(found.chart, setting).motion == found.path.motion
