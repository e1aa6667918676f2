"""Varied rhythms: laws of the table of successions, and what a comping pianist does.

Sources: common practice, no source, for all of it (that comping changes by phrase, leaves space at
its end and pushes into the next section); Python's `random`, whose `random()` is the same on every
machine for one seed (library reference, "Notes on Reproducibility").
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest

from shortway.core.charts import Chart, parse_chart, unroll
from shortway.core.rhythm.bars import played_bars
from shortway.core.rhythm.comping import FOLLOWERS, bar_hits
from shortway.core.rhythm.onsets import Onset, onsets
from shortway.core.rhythm.patterns import PATTERNS, Pattern
from shortway.core.rhythm.rhythm import parse_rhythm
from support.tables import each_row

#: Two sections of eight measures, a chord in each.
FORM = (
    "[A] | Cm7 | Fm7 | Bb7 | Ebmaj7 | Abmaj7 | Dm7b5 | G7 | Cm6 |"
    " [B] | Fm7 | Bb7 | Gm7 | C7 | Fm7 | D7 | G7 | Cm6 |"
)
SEEDS = range(12)


def gap(before: Pattern, after: Pattern) -> Fraction:
    """Beats from the end of a push that rings, or a beat after the last hit, to the next hit."""
    beats = before.meters[0][0]
    last = before.strokes[-1]
    rings = last.beats if last.anticipate else Fraction(0)
    least = max(rings, Fraction(1) if beats % 3 or beats == 3 else Fraction(0))
    return after.strokes[0].beat + beats - last.beat - least


PAIRS = [(name, other) for name, others in FOLLOWERS.items() for other in others]


def test_every_pattern_of_a_measure_can_be_followed() -> None:
    ids = {name for name, one in PATTERNS.items() if one.strokes} - {"four-to-the-bar"}
    assert set(FOLLOWERS) == ids
    assert {other for _, other in PAIRS} == ids


@each_row("name, other", PAIRS)
def test_what_follows_leaves_the_last_hit_its_room(name: str, other: str) -> None:
    """No hit falls while a push rings, none within a beat of another (a fault that was planted:
    `pushes` before `charleston`, half a beat)."""
    before, after = PATTERNS[name], PATTERNS[other]
    assert before.meters == after.meters
    assert gap(before, after) >= 0


def test_the_law_of_successions_finds_a_planted_fault() -> None:
    assert gap(PATTERNS["pushes"], PATTERNS["charleston"]) < 0
    assert gap(PATTERNS["charleston-from-three"], PATTERNS["on-one"]) < 0


def struck(text: str, choruses: int = 1, melody: Any = None, **more: object) -> list[Onset]:
    chart = times(text, choruses)
    rhythm = parse_rhythm({"rhythm": "varied", **more})
    steps = unroll(chart)
    last = len(chart.order) * (choruses - 1) // choruses if choruses > 1 else None
    return list(onsets(chart, steps, rhythm, last_chorus=last, ending=True, melody=melody))


def times(text: str, choruses: int) -> Chart:
    chart = parse_chart(text)
    return replace(chart, order=chart.order * choruses)


def patterns(text: str, seed: int) -> list[str]:
    """The names of the patterns, measure by measure."""
    chart = parse_chart(text)
    bars = played_bars(chart, unroll(chart))
    own = (one for one in PATTERNS.values() if chart.meter in one.meters)
    by_hits = {one.strokes: one.id for one in own if one.strokes}
    rhythm = parse_rhythm({"rhythm": "varied", "seed": seed})
    return [by_hits[hits[0]] if hits else "held" for hits in bar_hits(bars, rhythm)]


def test_the_rhythm_of_a_seed_is_the_same_everywhere() -> None:
    """Written down once; another machine or version of Python gets these too."""
    assert patterns(FORM, 1) == [
        "on-one", "pushes", "charleston-from-three", "two-and",
        "charleston-from-three", "two-and", "charleston-from-three", "four-and",
        "charleston-from-two", "on-one", "pushes", "two-and",
        "pushes", "charleston-from-two", "charleston-from-three", "four-and",
    ]  # fmt: skip


@pytest.mark.parametrize("meter", ["4/4", "3/4", "6/8", "5/4"])
def test_each_meter_has_its_own_patterns_and_they_follow_the_table(meter: str) -> None:
    used = set()
    for seed in SEEDS:
        names = patterns(f"meter: {meter}\n{FORM}", seed)
        used |= set(names)
        assert all(b in FOLLOWERS[a] for a, b in pairwise(names))
        assert PATTERNS[names[0]].strokes[0].beat == 1, "the first chord is on one"
    assert len(used) >= 5
    assert {f"{beats}/{unit}" for n in used for beats, unit in PATTERNS[n].meters} == {meter}


def test_another_seed_is_another_rhythm() -> None:
    assert len({tuple(patterns(FORM, seed)) for seed in SEEDS}) == len(SEEDS)


def hits_of(found: list[Onset], first: int, last: int) -> float:
    """Hits a measure of 4/4 from measure `first` to before `last`, from 0."""
    return len([h for h in found if 4 * first <= h.onset < 4 * last]) / (last - first)


def mean(numbers: list[float]) -> float:
    return sum(numbers) / len(numbers)


def test_density_and_the_last_chorus() -> None:
    """More hits the denser it is asked for; the last chorus has more than the one before."""
    dense = [
        mean([hits_of(struck(FORM, density=word, seed=s), 0, 15) for s in SEEDS])
        for word in ("sparse", "medium", "dense")
    ]
    assert dense[0] * 1.2 < dense[1] < dense[2] / 1.1
    three = [struck(FORM, 3, seed=s) for s in SEEDS]
    middle = mean([hits_of(found, 16, 32) for found in three])
    assert mean([hits_of(found, 32, 47) for found in three]) > 1.1 * middle


def test_space_at_the_end_of_a_phrase() -> None:
    found = [struck(FORM, seed=s) for s in SEEDS]
    ends = mean([hits_of(f, k, k + 1) for f in found for k in (3, 11)])
    inside = mean([hits_of(f, k, k + 1) for f in found for k in (1, 2, 9, 10)])
    assert ends < 0.85 * inside


def test_a_new_section_is_anticipated() -> None:
    """The first chord of B, at 32 quarter notes, is struck within a beat before the bar line."""
    for seed in SEEDS:
        first = next(h for h in struck(FORM, seed=seed) if h.step == 8)
        assert 31 <= first.onset < 32


def test_the_last_chord_is_struck_once_and_held_to_the_end() -> None:
    for seed in SEEDS:
        for choruses in (1, 2):
            *_, last = struck(FORM, choruses, seed=seed)
            own = [h for h in struck(FORM, choruses, seed=seed) if h.step == last.step]
            assert len(own) == 1
            assert last.onset + last.beats == 64 * choruses
            assert last.beats >= 4
            assert last.articulation == ""


def test_a_melody_is_left_room() -> None:
    """Hits thin out where it moves in eighth notes, and fill where it rests."""
    moving = {k: [Fraction(n, 2) for n in range(8)] for k in range(1, 9)}
    busy, rests, none = [], [], []
    for seed in SEEDS:
        found = struck(FORM, melody=moving, seed=seed)
        busy.append(hits_of(found, 0, 8))
        rests.append(hits_of(found, 8, 15))
        none.append(hits_of(struck(FORM, seed=seed), 0, 15))
    assert mean(busy) < 0.85 * mean(none) < mean(none) < mean(rests)


def test_a_section_has_a_rhythm_of_its_own() -> None:
    rhythm = {"rhythm": "charleston", "section_rhythms": [{"section": "B", "rhythm": "held"}]}
    chart = parse_chart(FORM)
    found = onsets(chart, unroll(chart), parse_rhythm(rhythm))
    assert [float(h.onset) for h in found if h.onset < 8] == [0, 1.5, 4, 5.5]
    assert [float(h.onset) for h in found if h.onset >= 32] == [32 + 4 * k for k in range(8)]
    sparse = {"density": "dense", "section_rhythms": [{"section": "A", "density": "sparse"}]}
    both = [struck(FORM, seed=s, **sparse) for s in SEEDS]
    few, many = ([hits_of(f, k, k + 7) for f in both] for k in (0, 8))
    assert mean(few) * 1.3 < mean(many)


ARTICULATED = [
    ("charleston", ["tenuto", "staccato"]),  # a quarter before a rest, an eighth
    ("four-to-the-bar", ["staccato"] * 4),
    ("on-one", [""]),  # long: held without a mark
    ("halves", ["", ""]),
    ("pushes", ["", "staccato"]),  # a dotted quarter; cut by the end
]


@each_row("name, marks", ARTICULATED)
def test_short_notes_are_short_and_long_notes_hold(name: str, marks: list[str]) -> None:
    chart = parse_chart("| Dm7 |")
    found = onsets(chart, unroll(chart), parse_rhythm(name))
    assert [hit.articulation for hit in found] == marks


def test_a_chord_that_is_held_has_no_mark() -> None:
    chart = parse_chart("| C6 Dm7 Em7 F6 G7 Am7 Bdim C6 |")
    assert {h.articulation for h in onsets(chart, unroll(chart), parse_rhythm("held"))} == {""}
