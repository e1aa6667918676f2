"""The candidates of a step, each with the best path through it; compared with pinning each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from core.solver.test_keep import of_path, wire
from core.solver.test_priced_paths import SMALL
from shortway.core.errors import ShortwayError
from shortway.core.shortest_path import points
from shortway.core.solver.results import Choice
from shortway.core.solver.search import exact
from shortway.core.solver.solve import solve
from support.charts import charts
from support.layered import layered
from support.tables import each_row

Given = Mapping[str, object]


def pinned(text: str, at: int, choice: Choice, **options: Any) -> tuple[int, int]:
    """Cost and motion of the best path with a choice as a pin."""
    of = choice.voicing
    pin = {"step": at, "midi_notes": list(of.midi_notes), "family": of.family}
    path = solve(text, pins=[*options.pop("pins", []), pin], **options)
    return path.cost, path.motion


@given(charts(5, 2), st.sampled_from(SMALL), st.booleans(), st.booleans(), st.data())
def test_each_choice_is_the_path_with_that_pin(
    text: str, setting: Given, loop: bool, kept: bool, data: st.DataObject
) -> None:
    assume(all(layered(text, setting, loop=loop).layers))
    plain = solve(text, setting, loop=loop)
    steps = range(len(plain.steps))
    # a pin inside a run of one chord begins a layer of its own
    own = [k for k in steps if plain.steps[k - 1].step.chord.name != plain.steps[k].step.chord.name]
    assume(own)
    at = data.draw(st.sampled_from(own))
    options: dict[str, Any] = {"setting": setting, "loop": loop}
    options["start_from"] = data.draw(st.sampled_from([None, [52, 58, 62, 67]]))
    if kept:
        options["keep"] = wire(of_path(solve(text, setting, pins=[], loop=False)))
    path = solve(text, choices_at=at, limit=1_000, **options)
    voicing = path.steps[at].voicing
    assume(voicing is not None)
    assert path.choices[0] == Choice(voicing, path.cost, path.motion)
    if not kept:
        assert [of.cost for of in path.choices] == sorted(of.cost for of in path.choices)
    few = path.choices[:: max(1, len(path.choices) // 6)]
    assert [(of.cost, of.motion) for of in few] == [pinned(text, at, of, **options) for of in few]


@each_row("loop, limit", [(False, 1), (False, 7), (True, 7), (True, 1_000)])
def test_wide_steps_have_the_same_choices(loop: bool, limit: int) -> None:
    everything = {"families": ["any-playable"], "notes": 4, "hands": "left"}
    text = "| Dm7 | G7 | Cmaj7 |"
    answers = []
    for wide in (exact.WIDE, 0):
        with pytest.MonkeyPatch.context() as patched:
            patched.setattr(exact, "WIDE", wide)
            patched.setattr(points, "NATIVE", False)
            path = solve(text, everything, loop=loop, choices_at=1, limit=limit)
        answers.append(path.choices)
    assert answers[0] == answers[1]
    assert len(answers[0]) <= limit


def test_choices_of_a_pinned_step_and_of_silence() -> None:
    path = solve("| Dm7 | N.C. | G7 |", pins=[{"step": 0, "form": "A"}], choices_at=0)
    assert {of.voicing.form for of in path.choices} == {"A"}
    assert solve("| Dm7 | N.C. | G7 |", choices_at=1).choices == ()
    assert solve("| Dm7 | N.C. | G7 |").choices == ()


def test_choices_along_a_top_line() -> None:
    text = "| Dm7 | G7 | Cmaj7 |"
    path = solve(text, top_line="rise", choices_at=2)
    of = path.choices[-1]
    assert pinned(text, 2, of, top_line="rise") == (of.cost, of.motion)


@each_row("arguments, pointer", [({"choices_at": 3}, "/choices_at"), ({"limit": 0}, "/limit")])
def test_what_no_step_has_is_refused(arguments: dict[str, int], pointer: str) -> None:
    with pytest.raises(ShortwayError) as caught:
        solve("| Dm7 | G7 | C |", **{"choices_at": 0, **arguments})  # type: ignore[arg-type]
    assert caught.value.faults[0].pointer == pointer
