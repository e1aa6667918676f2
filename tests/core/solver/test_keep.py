"""Kept notes: as few steps as possible change, before cost; compared with trying every path."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from core.solver.test_priced_paths import SMALL, Notes, apart, in_order, played
from shortway.core.errors import ShortwayError
from shortway.core.solver.search import exact
from shortway.core.solver.solve import Path, solve
from support.charts import charts
from support.layered import layered
from support.tables import each_row

Given = Mapping[str, object]
Keep = dict[int, tuple[int, ...]]

FREE: dict[str, object] = {"families": ["guide-tone", "guide-tone-extended"], "notes_vary": True}
CHANGE: dict[str, object] = {"families": ["guide-tone-extended"], "repeats": "change"}


def wire(keep: Keep) -> list[dict[str, object]]:
    """The request's form."""
    return [{"step": step, "midi_notes": list(midi)} for step, midi in keep.items()]


def of_path(path: Path) -> Keep:
    """All notes of a path, by step."""
    return {k: s.voicing.midi_notes for k, s in enumerate(path.steps) if s.voicing is not None}


@pytest.mark.parametrize("loop", [False, True], ids=["open", "loop"])
@given(
    charts(4, 2),
    st.sampled_from((*SMALL, FREE, CHANGE)),
    st.integers(1, 2),
    st.booleans(),
    st.data(),
)
def test_the_fewest_steps_change_and_then_cost_decides(
    loop: bool, text: str, setting: Given, differs_in: int, pinned: bool, data: st.DataObject
) -> None:
    problem = layered(text, setting, loop=loop)
    assume(len(problem.layers) > 1 and all(problem.layers))
    notes = [st.sampled_from([of.midi_notes for of in layer]) for layer in problem.layers]
    keep: Keep = {
        step: data.draw(own if data.draw(st.booleans()) else st.just((41, 48, 51)))
        for step, own in zip(problem.indices, notes, strict=True)
        if data.draw(st.booleans())
    }
    pins: list[dict[str, object]] = []
    if pinned:
        k = data.draw(st.integers(0, len(problem.layers) - 1))
        pins = [{"step": problem.indices[k], "midi_notes": list(data.draw(notes[k]))}]
        problem = layered(text, setting, loop=loop, pins=pins)
    assume(0 < problem.ways() <= 3_000)

    def changed(way: Notes) -> int:
        own = dict(zip(problem.indices, way, strict=True))
        return sum(own[step] != midi for step, midi in keep.items())

    expected = apart(sorted(in_order(problem), key=changed), 4, differs_in)
    assume(expected)
    path = solve(
        text, setting, loop=loop, pins=pins, keep=wire(keep), alternatives=4, differs_in=differs_in
    )
    found = [path, *path.alternatives]
    assert [played(of) for of in found] == expected
    assert [len(of.released) for of in found] == [changed(way) for way in expected]


@given(charts(6, 2), st.sampled_from((*SMALL, FREE)), st.booleans())
def test_a_path_that_keeps_all_its_notes_is_the_same(text: str, setting: Given, loop: bool) -> None:
    path = solve(text, setting, loop=loop)
    again = solve(text, setting, loop=loop, keep=wire(of_path(path)))
    assert (again.steps, again.cost, again.released) == (path.steps, path.cost, ())


def test_an_edited_chord_changes_alone_where_the_rest_is_kept() -> None:
    before = solve("| Dm7 | G7 | Cmaj7 | A7 | Dm7 | G7 | C6 |")
    edited = "| Dm7 | Db7 | Cmaj7 | A7 | Dm7 | G7 | C6 |"
    path = solve(edited, keep=wire(of_path(before)))
    assert path.released == (1,)
    assert [
        a == b for a, b in zip(of_path(path).values(), of_path(before).values(), strict=True)
    ] == [True, False, *[True] * 5]
    assert solve(edited).cost <= path.cost


def test_nothing_that_is_kept_refuses_a_request() -> None:
    keep = {0: (60,), 1: (20, 21, 22, 23, 24, 25, 26), 2: (55, 59), 900: (60, 64)}
    path = solve("| Dm7 | N.C. | G7 |", keep=wire(keep))
    assert path.released == (0, 1, 2, 900)
    assert path.cost == solve("| Dm7 | N.C. | G7 |").cost


def test_a_held_chord_keeps_what_most_of_its_steps_keep() -> None:
    setting = {"families": ["guide-tone-extended"]}
    first, other = (
        solve("| Dm7 |", setting, pins=[{"step": 0, "form": form}]).steps[0].voicing
        for form in "AB"
    )
    assert first is not None
    assert other is not None
    for most in (first.midi_notes, other.midi_notes):
        fewer = other.midi_notes if most == first.midi_notes else first.midi_notes
        path = solve("| Dm7 | % | % |", setting, keep=wire({0: fewer, 1: most, 2: most}))
        assert path.released == (0,)
        assert set(of_path(path).values()) == {most}


@pytest.mark.parametrize("loop", [False, True], ids=["open", "loop"])
@pytest.mark.parametrize("differs_in", [1, 2, 3])
def test_kept_notes_in_wide_steps(
    monkeypatch: pytest.MonkeyPatch, loop: bool, differs_in: int
) -> None:
    everything = {"families": ["any-playable"], "notes": 4, "hands": "left"}
    text = "| Dm7 | G7 | Cmaj7 | A7 |"
    keep = of_path(solve("| Dm7 | Db7 | Cmaj7 | A7 |", everything, loop=loop))
    options = {"loop": loop, "keep": wire(keep), "alternatives": 3, "differs_in": differs_in}
    answers = []
    for wide in (exact.WIDE, 0):
        monkeypatch.setattr(exact, "WIDE", wide)
        path = solve(text, everything, **options)  # type: ignore[arg-type]
        found = [path, *path.alternatives]
        answers.append([(played(of), of.cost, of.released) for of in found])
    assert answers[0] == answers[1]
    assert answers[0][0][2] == (1,)
    assert len(answers[0][1][2]) >= differs_in


def test_several_changes_of_really_wide_steps_are_not_too_many() -> None:
    everything = {"families": ["any-playable"], "notes": 5}
    text = "| Dm7 | G7 | Cmaj7 | Fm6 | Bb7 | Ebmaj7 |"
    before = solve(text, everything)
    assert before.size.transitions > exact.WIDE
    keep = wire(of_path(before))
    path = solve(text, everything, keep=keep, alternatives=2, differs_in=2)
    assert [len(of.released) for of in path.alternatives] == [2, 2]


def test_so_many_changes_that_weights_do_not_suffice(monkeypatch: pytest.MonkeyPatch) -> None:
    setting = {**CHANGE, "families": ["guide-tone"]}
    text, keep = "| Dm7 | % | % | % |", dict.fromkeys(range(4), (53, 60, 62, 69))
    expected = solve(text, setting, keep=wire(keep), alternatives=2)
    assert expected.released
    monkeypatch.setattr("shortway.core.solver.problem.PathProblem.most_cost", lambda _: 1 << 40)
    assert solve(text, setting, keep=wire(keep), alternatives=2) == expected


@each_row(
    "keep, pointer",
    [
        ([5], "/keep/0"),
        ([{"step": 0, "midi": [60]}], "/keep/0/midi"),
        ([{"midi_notes": [60]}], "/keep/0/step"),
        ([{"step": 0, "midi_notes": [60]}, {"step": 0, "midi_notes": [61]}], "/keep/1/step"),
        ([{"step": 0, "midi_notes": []}], "/keep/0/midi_notes"),
        ([{"step": 0, "midi_notes": [60, 128]}], "/keep/0/midi_notes/1"),
    ],
)
def test_what_is_no_list_of_notes_is_refused(keep: Sequence[Given], pointer: str) -> None:
    with pytest.raises(ShortwayError) as caught:
        solve("| Dm7 |", keep=keep)
    assert [fault.pointer for fault in caught.value.faults] == [pointer]
