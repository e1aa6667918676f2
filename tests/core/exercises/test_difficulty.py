"""Difficulty, by hand, on white keys of 23.5 mm (common practice, no source)."""

from __future__ import annotations

import pytest

from shortway.core.exercises.difficulty import WEIGHTS, rate_difficulty
from shortway.core.exercises.exercise import exercise
from shortway.core.solver.solve import solve

LEFT = {"hands": "left", "notes": 4, "reach": "octave"}
PINS = [{"step": 0, "midi_notes": [53, 57, 60, 62]}, {"step": 1, "midi_notes": [53, 57, 59, 64]}]


def test_two_chords_counted_by_hand() -> None:
    """F A C D, then F A B E: from F to D are five white keys, from F to E six; two notes move.

    The upper end moves by one white key, so the middle by half of one. No key is black.
    """
    first, second = rate_difficulty(solve("| Dm7 | G7 |", LEFT, pins=PINS)).steps
    assert (first.span_mm, first.moved, first.distance_mm, first.black_keys) == (117.5, 0, 0, 0)
    assert (second.span_mm, second.moved, second.black_keys) == (141.0, 2, 0)
    assert second.distance_mm == pytest.approx(23.5 / 2, abs=0.06)
    shares = {"span": 141 / 166, "moved": 2 / 4, "distance": 11.75 / 164.5, "black_keys": 0}
    assert second.difficulty == round(sum(WEIGHTS[name] * shares[name] for name in WEIGHTS))


def test_a_loop_is_entered_from_its_end_and_no_chord_is_passed_over() -> None:
    looped = rate_difficulty(solve("| Dm7 | N.C. | G7 |", LEFT, loop=True))
    assert [step.step for step in looped.steps] == [0, 2]
    assert looped.steps[0].moved > 0
    assert rate_difficulty(solve("| N.C. |")).hardest_measures == ()


def test_a_key_of_black_keys_is_harder_and_the_hardest_measure_has_the_hardest_step() -> None:
    found = exercise("| Dm7 | G7 | Cmaj7 | % |", keys=["C", "Db"], setting={"hands": "left"})
    white, black = found.sections
    assert (white.difficulty or 100) < (black.difficulty or 0)
    top = max(found.difficulty.steps, key=lambda step: step.difficulty)
    assert found.difficulty.hardest_measures[0] == top.measure
    assert sum(WEIGHTS.values()) == 100
    assert all(0 <= step.difficulty <= 100 for step in found.difficulty.steps)
