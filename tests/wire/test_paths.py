"""A path's bytes are joined from parts: they say what its values say, field by field."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortway.core.charts.json_entries import constraint_json
from shortway.core.charts.model import Place
from shortway.core.solver.results import PathStep
from shortway.core.solver.solve import solve
from shortway.wire.schemas.paths import PathStepSchema
from shortway.wire.serializers.charts import number
from shortway.wire.serializers.paths import context_json, path_json
from shortway.wire.serializers.voicings import price_items_json, voicing_json
from support.charts import SETTINGS, charts

#: Fields of the schema that a step has only where its chart does.
WHERE_GIVEN = {"melody", "ceiling", "top", "colours"}


def plainly(of: PathStep) -> dict[str, Any]:
    """The fields of a step, each from its value."""
    step, voicing = of.step, of.voicing
    beats, unit = step.meter
    constraints = constraint_json(step.melody, step.ceiling, step.top, step.colours)
    return {
        "step": step.number,
        "measure": step.measure,
        "beat": number(step.beat),
        "beats": number(step.beats),
        "onset": number(step.onset),
        "symbol": step.symbol,
        "repetition": step.repetition,
        "meter": f"{beats}/{unit}",
        **(step.place._asdict() if step.place else dict.fromkeys(Place._fields)),
        **constraints,
        "midi_notes": [] if voicing is None else list(voicing.midi_notes),
        "voicing": None if voicing is None else voicing_json(voicing),
        "motion": of.motion,
        "cost": of.cost,
        "price_items": price_items_json(of.price_items),
        "moves": [move._asdict() for move in of.moves],
        "remark": of.remark,
        "context": None if of.context is None else context_json(of.context),
    }


@given(charts(6), st.sampled_from(SETTINGS), st.booleans(), st.booleans())
def test_steps_say_what_their_values_say(
    text: str, setting: dict[str, object], loop: bool, sounding: bool
) -> None:
    start = [52, 57, 60, 64] if sounding else None
    path = solve(text, setting, loop=loop, start_from=start)
    for _ in range(2):  # what was made of them is held with the values
        assert path_json(path)["steps"] == [plainly(step) for step in path.steps]


CHARTS = (
    "| Dm7 | G7♭9 / N.C. / | % | Cmaj7 |",
    {
        "order": [1, 2, 1],
        "measures": [
            [{"symbol": "C%7", "beats": 2.5}, {"symbol": " F♯ø7", "beats": 1.5}],
            [{"symbol": "B7"}],
        ],
    },
    {"meter": "6/8", "measures": [[{"symbol": "F7", "melody": ["A5"], "beats": 2.5}]]},
    {"measures": [[{"symbol": "C7"}, {"symbol": "F7", "top": "C5"}, {"symbol": "Bb"}]] * 2},
    {"measures": [[{"symbol": "C7", "ceiling": "G5", "colours": ["9"]}, {"symbol": "C7"}]]},
)


@pytest.mark.parametrize("chart", CHARTS)
def test_steps_have_the_fields_of_their_schema(chart: Any) -> None:
    path = solve(chart)
    found = path_json(path)["steps"]
    assert found == [plainly(step) for step in path.steps]
    for step in found:
        assert set(step) | WHERE_GIVEN == set(PathStepSchema().fields)
    brief = path_json(path, "brief")["steps"]
    assert brief == [
        {name: full[name] for name in of} for of, full in zip(brief, found, strict=True)
    ]
    assert {"measure", "beat", "beats", "onset", "symbol", "midi_notes"} == set(brief[0])
