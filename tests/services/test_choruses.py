"""Choruses: the form of a loop several times, by laws, and against paths that are solved alone."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest

from shortway.core.charts import parse_chart
from shortway.core.errors import ShortwayError, TooLarge
from shortway.core.solver.results import PathStep
from shortway.core.solver.solve import solve
from shortway.scores.notation.model import Score
from shortway.services.write_score import music_of
from support.tables import each_row

FORM = "| Cm7 | Fm7 | Bb7 | Ebmaj7 | Abmaj7 | Dm7b5 | G7 | Cm6 |"
SETTINGS: list[dict[str, Any]] = [
    {}, {"hands": "left"}, {"bass_player": False}, {"families": ["drop-2"], "notes": 4},
]  # fmt: skip


def played(text: str, choruses: int, **more: Any) -> Score:
    return music_of({"chart": {"text": text}, "choruses": choruses, **more})


def rounds(music: Score, count: int) -> list[tuple[PathStep, ...]]:
    """The steps of each chorus."""
    size = len(music.path.steps) // count
    return [music.path.steps[k * size : (k + 1) * size] for k in range(count)]


def notes(steps: tuple[PathStep, ...]) -> list[tuple[int, ...]]:
    return [of.voicing.midi_notes for of in steps if of.voicing]


def test_the_form_is_that_of_the_loop_each_time() -> None:
    music = played(FORM, 3)
    alone = solve(parse_chart(FORM), loop=True)
    for steps in rounds(music, 3):
        assert notes(steps) == notes(alone.steps)
        assert [of.step.number for of in steps] == list(range(8))
    assert [of.step.onset for of in music.path.steps] == [4 * k for k in range(24)]
    assert [bar.source for bar in music.bars] == 3 * list(range(1, 9))
    assert music.last_chorus == 16


@each_row("setting", SETTINGS)
def test_choruses_that_vary_differ_and_stay_where_the_first_is(setting: dict[str, Any]) -> None:
    """All differ, join as the loop does, have its register, and cost what the solver says."""
    music = played(FORM, 4, vary=True, setting=setting)
    found = rounds(music, 4)
    lists = [notes(steps) for steps in found]
    assert lists[0] == notes(solve(parse_chart(FORM), setting, loop=True).steps)
    assert len({tuple(each) for each in lists}) == 4
    low, high = min(map(min, lists[0])), max(map(max, lists[0]))
    assert all(low <= midi <= high for each in lists for chord in each for midi in chord)
    assert {(each[0], each[-1]) for each in lists} == {(lists[0][0], lists[0][-1])}
    for a, b in pairwise(lists):
        assert sum(x != y for x, y in zip(a, b, strict=True)) >= 2


def test_one_chorus_is_the_chart_as_ever() -> None:
    one, plain = played(FORM, 1, vary=True), music_of({"chart": {"text": FORM}})
    assert notes(one.path.steps) == notes(plain.path.steps)
    assert one.last_chorus is None


TUNE = f"[Intro] | Dm7b5 | G7 | [A] {FORM} [Coda] | Fm7 | Bb7 | Ebmaj7 |"


def test_an_introduction_is_played_once_before_and_a_coda_once_after() -> None:
    music = played(TUNE, 3)
    assert [bar.source for bar in music.bars] == [1, 2, *(3 * [*range(3, 11)]), 11, 12, 13]
    assert music.last_chorus == 18
    numbers = [of.step.number for of in music.path.steps]
    assert numbers == [0, 1, *(3 * [*range(2, 10)]), 10, 11, 12]
    form = notes(music.path.steps[2:10])
    assert form == notes(solve(parse_chart(FORM), loop=True).steps)
    ends = [span for span in music.right if span.end == music.end]
    assert [span.step for span in ends] == [28]


def test_pins_stay_at_their_steps() -> None:
    """Of an introduction, the form, and a coda: their steps count through the chart as written."""
    pins = [{"step": 1, "top": "G5"}, {"step": 4, "top": "F5"}, {"step": 12, "top": "G5"}]
    steps = played(TUNE, 2, pins=pins).path.steps
    tops = {k: of.voicing.midi_notes[-1] for k, of in enumerate(steps) if of.voicing}
    assert (tops[1], tops[4], tops[12], tops[20]) == (79, 77, 77, 79)


def test_an_excerpt_is_repeated() -> None:
    music = played(FORM, 3, from_measure=2, to_measure=3)
    assert [bar.source for bar in music.bars] == [2, 3] * 3
    assert {of.step.number for of in music.path.steps} == {1, 2}


@pytest.mark.parametrize("choruses", [3, 50])
def test_a_score_of_too_many_hits_is_refused_with_the_figure(choruses: int) -> None:
    text = "|" + " Cm7 Fm7 Bb7 Eb6 |" * 1000
    with pytest.raises(TooLarge, match=f"{4000 * choruses:,} hits") as caught:
        played(text, choruses)
    assert caught.value.faults[0].pointer == "/choruses"
    short = "|" + " Cm7 |" * 200
    with pytest.raises(TooLarge, match="more than 8,192 hits") as caught:
        played(short, 15, rhythm="four-to-the-bar")
    assert caught.value.faults[0].pointer == "/rhythm"


REFUSED: list[tuple[dict[str, Any], str]] = [
    ({"section_rhythms": [{"section": "Z", "rhythm": "held"}]}, "/section_rhythms/0/section"),
    ({"section_rhythms": [{"section": "A"}, {"section": "A"}]}, "/section_rhythms/1/section"),
    ({"section_rhythms": [{"section": "A", "rhythm": "no"}]}, "/section_rhythms/0/rhythm"),
    ({"section_rhythms": [{"section": "A", "density": 1}]}, "/section_rhythms/0/density"),
    ({"seed": -1}, "/seed"),
    ({"seed": 2**32}, "/seed"),
    ({"density": "loud"}, "/density"),
]


@each_row("more, pointer", REFUSED)
def test_what_is_refused(more: dict[str, Any], pointer: str) -> None:
    with pytest.raises(ShortwayError) as caught:
        music_of({"chart": {"text": f"[A] {FORM}"}, **more})
    (fault,) = caught.value.faults
    assert fault.pointer == pointer
    assert fault.expected
