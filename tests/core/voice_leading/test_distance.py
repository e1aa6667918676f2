"""Motion: the laws of the least assignment, and the matrices against plain Python."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shortway.core.errors import SettingError
from shortway.core.settings.setting import resolve
from shortway.core.symbols.parser import parse
from shortway.core.voice_leading import distance as motions
from shortway.core.voice_leading.distance import (
    least_assignment,
    least_class_assignment,
    moves_between,
)
from shortway.core.voicings.candidate_arrays import sounding
from shortway.core.voicings.candidates import candidates
from support.charts import ROOTS
from support.plain import motion

Notes = tuple[int, ...]
PITCHES = st.lists(st.integers(21, 108), min_size=1, max_size=6, unique=True).map(
    lambda notes: tuple(sorted(notes))
)
FOUR = st.lists(st.integers(30, 90), min_size=4, max_size=4, unique=True).map(
    lambda notes: tuple(sorted(notes))
)


@given(PITCHES, PITCHES)
def test_there_and_back_are_as_far(a: Notes, b: Notes) -> None:
    assert least_assignment(a, b).size == least_assignment(b, a).size
    assert least_class_assignment(a, b).size == least_class_assignment(b, a).size


@given(PITCHES, PITCHES, st.integers(-12, 12))
def test_transposing_both_sides_changes_nothing(a: Notes, b: Notes, by: int) -> None:
    up = [n + by for n in a], [n + by for n in b]
    assert least_assignment(*up).size == least_assignment(a, b).size
    assert least_class_assignment(*up).size == least_class_assignment(a, b).size


@given(FOUR, FOUR, FOUR)
def test_motion_at_equal_sizes_is_a_metric(a: Notes, b: Notes, c: Notes) -> None:
    there = least_assignment(a, c).size
    assert there <= least_assignment(a, b).size + least_assignment(b, c).size
    assert (there == 0) == (a == c)


def test_with_doublings_motion_is_no_metric() -> None:
    """The counterexample of the motion module's own docstring."""
    straight = least_assignment([60, 62, 64], [66, 68]).size
    by_way_of = (
        least_assignment([60, 62, 64], [64, 66]).size + least_assignment([64, 66], [66, 68]).size
    )
    assert (straight, by_way_of) == (14, 12)


@given(PITCHES, PITCHES)
def test_order_does_not_matter(a: Notes, b: Notes) -> None:
    assert least_assignment(a[::-1], b) == least_assignment(a, b)


@given(PITCHES, PITCHES)
def test_allowing_doublings_never_lengthens_the_way(a: Notes, b: Notes) -> None:
    assume(len(a) == len(b))
    free = least_class_assignment(a, b)
    assert free.size <= least_class_assignment(a, b, doublings=False).size


@given(PITCHES, PITCHES, st.integers(0, 24))
def test_splits_that_cost_are_as_few_as_can_be_worth_it(a: Notes, b: Notes, cost: int) -> None:
    found = least_assignment(a, b, split_cost=cost)
    splits = 0 if len(a) == len(b) else 2 * len(found.pairs) - len(a) - len(b)
    assert found.size + cost * splits == motion(a, b, cost)[0]


@pytest.mark.parametrize("sides", [([], [60]), ([60], []), ([], [])])
def test_an_empty_side_is_refused(sides: tuple[list[int], list[int]]) -> None:
    with pytest.raises(SettingError, match="notes on both sides"):
        least_assignment(*sides)
    with pytest.raises(SettingError, match="notes on both sides"):
        least_class_assignment(*sides)


def test_without_doublings_sizes_must_agree() -> None:
    with pytest.raises(SettingError, match="as many notes"):
        least_class_assignment([0, 4, 7], [0, 4], doublings=False)


# --- matrices ------------------------------------------------------------------------------------

MIXED = {"families": ["shell", "rootless-three", "rootless"], "notes_vary": True}


@pytest.mark.parametrize("split_cost", [0, 1, 12, 127])
@pytest.mark.parametrize("bass_player", [True, False])
def test_matrices_hold_what_plain_python_finds(bass_player: bool, split_cost: int) -> None:
    setting = resolve({**MIXED, "bass_player": bass_player, "split_cost": split_cost})
    a, b = candidates(parse("Dm7"), setting), candidates(parse("Ab7"), setting)
    moves = moves_between(a, b, split_cost)
    bass = int(not bass_player)
    assert len(a) > 5
    assert len(b) > 5
    for i in range(len(a)):
        for j in range(len(b)):
            before, after = a.midi(i), b.midi(j)
            expected = motion(before[bass:], after[bass:], split_cost)
            assert (moves.motion[i, j], moves.squares[i, j]) == expected
            assert moves.top[i, j] == abs(before[-1] - after[-1])
            if moves.bass is not None:
                assert moves.bass[i, j] == abs(before[0] - after[0])
    assert (moves.bass is None) is bass_player


def test_notes_that_sound_may_be_few_or_many() -> None:
    setting = resolve(None)
    found = candidates(parse("G7"), setting)
    for notes in ((60,), (41, 48, 52, 55, 58, 60, 64, 67, 70, 74)):
        moves = moves_between(sounding(notes, has_bass=False), found, 12)
        expected = [motion(notes, found.midi(k), 12)[0] for k in range(len(found))]
        assert moves.motion[0].tolist() == expected


def test_matrices_are_remembered_within_bounds() -> None:
    """Whatever clients ask for, the matrices that are kept do not grow past their budget."""
    wide = {"families": ["close", "drop-2"], "lowest": "A0", "highest": "C8"}
    setting = resolve({**wide, "low_interval_limits": "off"})
    layers = [candidates(parse(root + "maj7"), setting) for root in ROOTS]
    pairs = [(a, b, cost) for cost in range(3) for a in layers for b in layers]
    made = sum(moves_between(*pair).nbytes for pair in pairs)
    report = motions._MOVES.report()
    assert 0 < report.bytes <= report.budget < made
    once = moves_between(layers[0], layers[1], 2)
    assert moves_between(layers[0], layers[1], 2) is once
