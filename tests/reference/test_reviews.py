"""Reviews against outside sources.

- HUTCHINSON: the voicings that the textbook prints (`reference.textbook`) have no fault in them.
- music21's intervals and harte-library's chords: what degree a note is, and how it is spelled.
- scipy's `linear_sum_assignment`: how far what was played is from what comes next.
- networkx's Dijkstra: the best continuation and the best path.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from reference.textbook import HUTCHINSON, SINGLE, line
from shortway.core import charts
from shortway.core.review.note_naming import name_notes
from shortway.core.review.review import Review, review
from shortway.core.symbols.parser import parse
from shortway.core.voicings.available_tones import available_tones
from support.charts import ROOTS, SUFFIXES
from support.layered import layered, played_notes
from support.plain import pitch_class
from support.prices import move_counts, voicing_counts
from support.tables import each_row

with warnings.catch_warnings():  # the peers' own imports, none of our doing
    warnings.simplefilter("ignore")
    from harte.harte import Harte
    from music21 import interval, pitch

#: A pianist without a bass player, over the book's low basses.
ALONE = {"bass_player": False, "lowest": "C2", "highest": "C6"}


# --- the textbook ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(HUTCHINSON))
def test_the_textbooks_lines_have_no_fault(name: str) -> None:
    """HUTCHINSON. `Cmaj7` in the book has its 9; the setting adds it."""
    rows = line(HUTCHINSON[name])
    text = "| " + " | ".join(symbol for symbol, _ in rows) + " |"
    found = review(text, [notes for _, notes in rows], ALONE)
    assert faults(found) == []
    assert all(step.hands is not None for step in found.steps)


@each_row("symbol, notes", line(SINGLE))
def test_the_textbooks_single_voicings_have_no_fault(symbol: str, notes: Sequence[int]) -> None:
    """HUTCHINSON."""
    assert faults(review(f"| {symbol} |", [notes], ALONE)) == []


def test_a_half_diminished_chord_without_its_third() -> None:
    """HUTCHINSON prints a second Dm7(b5) as D2 D3 G3 Ab3 C4, without its third.

    Levine prints its upper four for the left hand (The Jazz Theory Book, 1995, figure 3-114), so
    that it is a row of `rootless`; beside families that have no such row the third is missing.
    """
    played = [["D2", "D3", "G3", "Ab3", "C4"]]
    assert faults(review("| Dm7b5 |", played, {**ALONE, "families": ["rootless"]})) == []
    found = review("| Dm7b5 |", played, {**ALONE, "families": ["spread"], "notes": 4})
    missing = [f for f in found.steps[0].findings if f.code == "guide-tone-missing"]
    assert [finding.degrees for finding in missing] == [("b3",)]


def faults(found: Review) -> list[str]:
    return [f.words for step in found.steps for f in step.findings if f.severity == "fault"]


# --- degrees --------------------------------------------------------------------------------------


#: Chords whose Harte label spells out every tone.
TONES = (
    "", "m", "7", "maj7", "m7", "m7b5", "dim7", "6", "m6", "9", "maj9", "m9", "13", "7b9", "7#9",
    "7#11", "7b13", "9sus",
)  # fmt: skip


def _pitch(name: str) -> pitch.Pitch:
    """A note of ours as music21 writes it."""
    return pitch.Pitch(name.replace("b", "-"))


@each_row("suffix", SUFFIXES)
def test_degrees_are_music21s_intervals(suffix: str) -> None:
    """Of every key over two octaves: its spelled note lies so many letters and semitones up."""
    for root in ROOTS[len(suffix) % 3 :: 3]:
        chord = parse(root + suffix)
        notes = name_notes(
            chord, available_tones(chord.content, chord.colours), range(60, 84), has_bass=False
        )
        for note in notes:
            found = interval.Interval(_pitch(f"{root}2"), _pitch(note.note))
            number = int(note.degree.lstrip("b#"))
            signs = note.degree.rstrip("0123456789")
            natural = (0, 2, 4, 5, 7, 9, 11)[(number - 1) % 7]
            alter = signs.count("#") - signs.count("b")
            assert found.semitones % 12 == (natural + alter) % 12, (chord.name, note)
            if _pitch(note.note).accidental is None or abs(_pitch(note.note).alter) < 2:
                letters = (found.generic.undirected - 1) % 7
                plain = (number - 1) % 7
                assert letters == plain or _respelled(root, plain, natural + alter), note


def _respelled(root: str, letters: int, semitones: int) -> bool:
    """Whether the proper spelling has three signs, which ours gives up for the plain note."""
    name = "CDEFGAB"[("CDEFGAB".index(root[0]) + letters) % 7]
    proper = _pitch(f"{root}4").ps % 12 + semitones - _pitch(f"{name}4").ps % 12
    return abs((proper + 6) % 12 - 6) > 2


@each_row("suffix", TONES)
def test_chord_tones_are_hartes(suffix: str) -> None:
    """harte-library's own reading of the chord's Harte label names the same notes tones."""
    for root in ("C", "Eb", "F#", "Bb"):
        chord = parse(root + suffix)
        theirs = {p.name.replace("-", "b") for p in Harte(chord.harte).pitches}
        notes = name_notes(chord, available_tones(chord.content, ()), range(48, 60), has_bass=False)
        ours = {note.note.rstrip("0123456789") for note in notes if note.part == "tone"}
        assert ours == theirs, (chord.harte, ours, theirs)


# --- motion and continuation ----------------------------------------------------------------------

CHART = "| Dm7 | G7 | Em7 | A7b9 | Dm7 | % |"
SETTING = {"hands": "left", "tensions": "available"}
SYMBOLS = [step.symbol for step in charts.unroll(charts.parse_chart(CHART))]
NOTES = st.lists(st.integers(45, 76), min_size=1, max_size=6, unique=True).map(sorted)


@given(st.lists(NOTES, min_size=6, max_size=6))
def test_motion_is_scipys(played: list[list[int]]) -> None:
    """Of equal numbers the least bijection; of unlike ones the least edge cover."""
    found = review(CHART, played, SETTING)
    for k in range(1, 6):
        apart = np.abs(np.subtract.outer(played[k - 1], played[k]))
        expected = _bijection(apart) if apart.shape[0] == apart.shape[1] else _edge_cover(apart)
        assert found.steps[k].motion == expected
        assert sum(abs(move.semitones) for move in found.steps[k].moves) == expected
    assert found.motion == sum(step.motion or 0 for step in found.steps)


def _bijection(cost: np.ndarray) -> int:
    return int(cost[linear_sum_assignment(cost)].sum())


def _edge_cover(cost: np.ndarray) -> int:
    """Least sum of pairs in which every note of both sides has a part."""
    rows, columns = cost.min(axis=1), cost.min(axis=0)
    saved = np.minimum(cost - rows[:, None] - columns[None, :], 0)
    return int(rows.sum() + columns.sum() + saved[linear_sum_assignment(saved)].sum())


@given(st.lists(NOTES, min_size=6, max_size=6))
def test_the_best_continuation_is_dijkstras(played: list[list[int]]) -> None:
    """From every step over the rest of the chart, begun from what was played; `%` held."""
    found = review(CHART, played, SETTING)
    for k, step in enumerate(found.steps):
        assert step.onward is not None
        rest = " | ".join(SYMBOLS[k + 1 :])
        if not rest:
            assert (step.onward.cost, step.onward.voicing) == (0, None)
            continue
        graph = layered(
            f"| {rest} |",
            {**SETTING, "split_cost": 0},
            start_from=played[k],
            sounded=SYMBOLS[k],
        )
        listed = any(list(voicing.midi_notes) == played[k] for voicing in graph.layers[0])
        held = listed and SYMBOLS[k] == SYMBOLS[k + 1]
        assert step.onward.cost == (0 if held else graph.by_networkx())


@given(st.lists(NOTES, min_size=6, max_size=6))
def test_what_was_played_is_paid_as_a_path_is(played: list[list[int]]) -> None:
    """Prices of the notes and moves in plain Python; the best path's cost is Dijkstra's."""
    found, graph = review(CHART, played, SETTING), layered(CHART, SETTING)
    cost = found.motion
    notes = [played_notes(midi, plain_root(k)) for k, midi in enumerate(played)]
    for k, (chord, of, here) in enumerate(zip(graph.chords, graph.facts, notes, strict=True)):
        if k:
            before = graph.chords[k - 1], graph.facts[k - 1], notes[k - 1]
            cost += graph.price(move_counts(before, (chord, of, here)))
        if k == 0 or (SYMBOLS[k], played[k]) != (SYMBOLS[k - 1], played[k - 1]):
            cost += graph.price(voicing_counts(here, of, (), graph.setting.home))
    assert found.cost == cost
    assert found.best.cost == graph.by_networkx()
    assert found.excess == cost - found.best.cost


def plain_root(step: int) -> int:
    """Pitch class of a step's root."""
    return pitch_class(SYMBOLS[step][0])


@given(st.lists(NOTES, min_size=4, max_size=4))
def test_without_the_silent_steps_the_path_is_the_rests(played: list[list[int]]) -> None:
    """Steps without notes are passed over, as N.C. is."""
    text = "| Dm7 | G7 | Cmaj7 | A7b9 |"
    found = review(text, [played[0], None, played[2], played[3]], SETTING)
    rests = layered("| Dm7 | N.C. | Cmaj7 | A7b9 |", SETTING)
    assert found.best.cost == rests.by_networkx()
    assert found.steps[1].best is None
