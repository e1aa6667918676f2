"""The same formula in every key: transposition by music21, the optimum by trying them all.

- MUSIC21: `Pitch.transpose` (music21 10) moves the first key's voicings to the others.
- That a drill plays one formula in twelve keys is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Any

import pytest
from music21.pitch import Pitch

from shortway.core.errors import SettingError, WrongType
from shortway.core.exercises.exercise import Exercise, exercise
from shortway.core.exercises.key_orders import KEY_ORDERS
from shortway.core.settings.setting import resolve
from shortway.core.solver.results import Path
from shortway.core.solver.solve import solve, voicings
from support.charts import SITUATIONS
from support.tables import each_row

CADENCE = "| Dm7 | G7 | Cmaj7 | % |"
MINOR = "| Dm7b5 | G7 | Cm6 | % |"
CHARTS = [
    CADENCE, MINOR, "| C7 | F7 | C7 | Gm7 C7 |", "| Cmaj7 A7 | Dm7 G7 |", "| Cmaj7 |",
    "| C | F/A | G/B | C |", "| N.C. | Dm7 G7 | N.C. |", "| Dm7 | Db7 | C6 |", "| C7 | F7 | C7 |",
]  # fmt: skip


def formula_of(found: Exercise, key: int) -> list[Any]:
    """Family, form, degrees and notes of each voicing of one key."""
    one = found.sections[key]
    steps = found.path.steps[one.step : one.step + one.steps]
    of = [step.voicing for step in steps]
    return [v and (v.family, v.form, tuple(n.degree for n in v.notes), v.midi_notes) for v in of]


def transposed(midi: Sequence[int], by: int) -> tuple[int, ...]:
    """MUSIC21."""
    return tuple(int(Pitch(ps=note).transpose(by).ps) for note in midi)


@each_row("chart, setting, order, loop", [
    *product(CHARTS, SITUATIONS, ["fourths"], [False]),
    *product([CADENCE, MINOR], [{}, {"hands": "left"}], KEY_ORDERS, [True]),
])  # fmt: skip
def test_every_key_plays_the_first_ones_voicings(
    chart: str, setting: dict[str, Any], order: str, loop: bool
) -> None:
    """MUSIC21: one transposition moves the whole key, and all keys lie within an octave."""
    found = exercise(chart, order, setting, loop=loop)
    first, shifts = formula_of(found, 0), []
    assert (found.formula, len(found.sections)) == ("same", 12)
    for number, key in enumerate(found.sections):
        here = formula_of(found, number)
        shift = next(v[3][0] - w[3][0] for v, w in zip(here, first, strict=True) if v)
        assert (shift - key.semitones + found.sections[0].semitones) % 12 == 0
        shifts.append(shift)
        for voicing, before in zip(here, first, strict=True):
            assert (voicing and voicing[:3]) == (before and before[:3])
            assert voicing is None or voicing[3] == transposed(before[3], shift)
    assert max(shifts) - min(shifts) <= 11


@each_row("chart, setting", product([CADENCE, MINOR], SITUATIONS))
def test_the_joins_are_counted(chart: str, setting: dict[str, Any]) -> None:
    """The keys move alike, and the path moves twelve times as much and the joins."""
    found = exercise(chart, "fifths", setting, loop=True)
    inner = [
        sum(s.motion or 0 for s in found.path.steps[k.step + 1 : k.step + k.steps])
        for k in found.sections
    ]
    assert len(set(inner)) == 1
    assert found.path.motion == 12 * inner[0] + sum(key.motion or 0 for key in found.sections)


def pinned(found: Exercise, setting: dict[str, Any], loop: bool, notes: Sequence[Any]) -> Path:
    pins = [{"step": k, "midi_notes": list(midi)} for k, midi in enumerate(notes)]
    return solve(found.chart, setting, loop=loop, pins=pins)


@pytest.mark.parametrize("loop", [False, True])
@pytest.mark.parametrize("keys", [["C", "F"], ["C", "Bb", "E"]])
@pytest.mark.parametrize("setting", [
    {"families": ["shell"], "notes": 2, "hands": "left", "lowest": "Eb3"},
    {"families": ["guide-tone"], "notes": 4, "lowest": "Eb3", "highest": "C6"},
])  # fmt: skip
def test_no_other_formula_costs_less(setting: dict[str, Any], keys: list[str], loop: bool) -> None:
    """Every formula in every choice of octaves within one octave, each solved with all pinned."""
    chart = "| G7 | C6 |"
    found = exercise(chart, None, setting, keys=keys, loop=loop)
    steps = [step.step for step in found.path.steps[:2]]
    contexts = [step.context for step in found.path.steps[:2]]
    of = [
        [r.voicing.midi_notes for r in voicings(s.chord, setting, context=c).voicings]
        for s, c in zip(steps, contexts, strict=True)
    ]
    listed = [
        {r.voicing.midi_notes for r in voicings(s.step.chord, setting, context=s.context).voicings}
        for s in found.path.steps
    ]
    semitones = [key.semitones - found.sections[0].semitones for key in found.sections]
    costs = []
    for formula in product(*of):
        for shifts in product(*[(by - 12, by, by + 12) for by in semitones[1:]]):
            every = (0, *shifts)
            notes = [transposed(midi, by) for by in every for midi in formula]
            playable = all(midi in there for midi, there in zip(notes, listed, strict=True))
            if playable and max(every) - min(every) <= 11:
                costs.append(pinned(found, setting, loop, notes).cost)
    assert found.path.cost == min(costs)
    assert len(set(costs)) > 1


def test_a_drill_of_the_left_hand_keeps_every_third() -> None:
    """Common practice, no source: a half-diminished chord is drilled with its third.

    Within Eb3 to A4 the only voicing that fits twelve keys lacks it; a default range is widened.
    """
    found = exercise(MINOR, setting={"hands": "left"})
    played = [{n.degree for n in step.voicing.notes} for step in found.path.steps if step.voicing]
    assert all({"b3", "3"} & degrees for degrees in played)


def test_the_range_is_widened_by_as_little_as_is_needed() -> None:
    """A left hand's range is too narrow for one formula in twelve keys, and wide enough for two."""
    setting = {"hands": "left"}
    found, own = exercise(CADENCE, setting=setting), resolve(setting)
    notes = [n for step in found.path.steps if step.voicing for n in step.voicing.midi_notes]
    used = found.path.setting
    assert (used.lowest, used.highest) != (own.lowest, own.highest)
    assert used.lowest == min(own.lowest, *notes)
    assert used.highest == max(own.highest, *notes)
    assert exercise(CADENCE, None, setting, keys=["C", "D"]).path.setting == own
    assert exercise(CADENCE, setting=setting, formula="best").path.setting == own


def test_what_no_formula_can_play_is_played_as_it_costs_least() -> None:
    """A small hand reaches the chord in each key otherwise: black and white keys lie apart."""
    setting = {"families": ["guide-tone-extended"], "reach_mm": 110.0}
    found = exercise("key: C\n| C7b9 |", setting=setting)
    assert found.formula == "best"
    assert found.path == exercise("key: C\n| C7b9 |", setting=setting, formula="best").path
    assert exercise("key: C\n| C7b9 |", None, setting, keys=["C", "F"]).formula == "same"


def test_what_holds_over_a_chord_leaves_the_octave_no_choice() -> None:
    """A top note moves by the nearest semitones, and the voicings with it."""
    entry = {"symbol": "C6", "top": "C5"}
    found = exercise({"key": "C", "measures": [[entry]]}, setting={"families": ["close"]})
    tops = [step.voicing.midi_notes[-1] for step in found.path.steps if step.voicing]
    assert found.formula == "same"
    assert tops == [72 + key.semitones for key in found.sections]


def test_a_formula_is_a_word_that_is_known() -> None:
    with pytest.raises(SettingError, match="'other' is not a valid formula") as caught:
        exercise(CADENCE, formula="other")
    assert caught.value.faults[0].pointer == "/formula"
    with pytest.raises(WrongType, match="formula must be same or best"):
        exercise(CADENCE, formula=1)  # type: ignore[arg-type]
