"""Remarks and moves: what a musician is told of every step."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortway.core.solver.solve import Pin, solve, voicings
from shortway.core.symbols.parser import parse
from shortway.core.voice_leading.remarks import MOVEMENTS, SILENT, opening, remark
from support.charts import SETTINGS, charts
from support.plain import motion

GUIDE: dict[str, object] = {"families": ["guide-tone-extended"]}


def test_the_contracts_own_example() -> None:
    """The 9 held over becomes the 13; falling fifth, form A to B, two fall, the rest stay."""
    path = solve("| G7 | C7 |", GUIDE, pins=[{"step": 0, "form": "A"}])
    step = path.steps[1]
    assert step.remark == ("falling fifth, form A to B, two voices fall a half step, the rest stay")
    assert [(m.voice, m.semitones, m.from_degree, m.to_degree) for m in step.moves] == [
        (1, -1, "3", "b7"),
        (2, -1, "b7", "3"),
        (3, 0, "9", "13"),
        (4, 0, "5", "9"),
        (5, 0, "1", "5"),
    ]


ROOTS = [
    ("C7", "F7", "falling fifth"),
    ("C7", "G7", "rising fifth"),
    ("C7", "Bb7", "root falls a whole step"),
    ("C7", "Db7", "root rises a half step"),
    ("C7", "B7", "root falls a half step"),
    ("C7", "A7", "root falls a minor third"),
    ("C7", "E7", "root rises a major third"),
    ("C7", "Gb7", "root moves a tritone"),
    ("C7", "Cm7", "same root"),
]


@pytest.mark.parametrize(("a", "b", "words"), ROOTS)
def test_the_roots_move_is_named(a: str, b: str, words: str) -> None:
    said = remark((parse(a), parse(b)), (None, None), MOVEMENTS[0,])
    assert said == f"{words}, all voices stay"


VOICES = [
    ((60, 64, 67), (60, 64, 67), "all voices stay"),
    ((60, 64, 67), (59, 63, 66), "every voice falls a half step"),
    ((60, 64, 67), (62, 66, 69), "every voice rises a whole step"),
    ((60, 64, 67), (60, 64, 68), "one voice rises a half step, the rest stay"),
    ((60, 64, 67), (60, 65, 68), "two voices rise a half step, the other stays"),
    (
        (60, 64, 67),
        (60, 65, 69),
        "one voice rises a half step, one rises a whole step, the other stays",
    ),
    ((60, 64), (53, 76), "one voice falls a fifth, one rises an octave"),
    ((60, 64), (60, 73), "one voice rises 9 half steps, the other stays"),
    ((60, 64, 67, 71), (59, 63, 69, 73), "two voices fall a half step, two rise a whole step"),
]


@pytest.mark.parametrize(("a", "b", "words"), VOICES)
def test_what_the_voices_do(a: tuple[int, ...], b: tuple[int, ...], words: str) -> None:
    moved = [new - old for old, new in zip(a, b, strict=True)]
    voices = MOVEMENTS[tuple(moved)]
    assert (voices.motion, voices.leap) == (sum(map(abs, moved)), max(map(abs, moved)))
    said = remark((None, parse("C")), (None, None), voices)
    assert said == f"from the notes that sound: {words}"


def test_forms_are_named_where_both_have_one() -> None:
    chords, stay = (parse("C7"), parse("F7")), MOVEMENTS[0,]
    assert "form A again" in remark(chords, ("A", "A"), stay)
    assert "form B to A" in remark(chords, ("B", "A"), stay)
    assert "form" not in remark(chords, ("B", None), stay)


def test_a_held_chord_an_opening_and_silence() -> None:
    path = solve("| C7 | C7 | N.C. |", GUIDE)
    assert path.steps[0].remark == opening(path.steps[0].voicing)  # type: ignore[arg-type]
    assert path.steps[0].remark.startswith("opens in form ")
    assert path.steps[1].remark == "same chord, same voicing"
    assert path.steps[2].remark == SILENT


def test_sounding_notes_have_no_degrees() -> None:
    path = solve("| C7 |", GUIDE, start_from=[52, 58, 62, 67])
    assert {move.from_degree for move in path.steps[0].moves} == {None}
    assert path.steps[0].remark.startswith("from the notes that sound: ")
    assert len(path.steps[0].moves) == 5  # four notes to five: one splits


@given(charts(6), st.sampled_from(SETTINGS), st.booleans())
def test_moves_lead_from_each_voicing_to_the_next(
    text: str, setting: dict[str, object], loop: bool
) -> None:
    path = solve(text, {**setting, "repeats": "hold"}, loop=loop)
    sounding = [step for step in path.steps if step.voicing is not None]
    for k, step in enumerate(sounding):
        if k == 0 and not loop:
            assert (step.motion, step.moves) == (0, ())
            continue
        before = sounding[k - 1].voicing
        assert before is not None
        assert step.voicing is not None
        old, new = [n.midi for n in before.upper], [n.midi for n in step.voicing.upper]
        assert {m.from_midi for m in step.moves} == set(old)
        assert {m.to_midi for m in step.moves} == set(new)
        assert [m.voice for m in step.moves] == list(range(1, len(step.moves) + 1))
        assert all(m.semitones == m.to_midi - m.from_midi for m in step.moves)
        split = path.setting.split_cost * (2 * len(step.moves) - len(old) - len(new))
        extra = split if len(old) != len(new) else 0
        assert step.motion == sum(abs(m.semitones) for m in step.moves) + extra
        assert step.motion == motion(tuple(old), tuple(new), path.setting.split_cost)[0]
        degrees = {n.midi: n.degree for n in step.voicing.upper}
        assert all(m.to_degree == degrees[m.to_midi] for m in step.moves)
        assert step.remark
    leaps = [abs(m.semitones) for step in path.steps for m in step.moves]
    assert path.largest_leap == max(leaps, default=0)


def test_a_pin_may_be_given_as_a_value() -> None:
    wanted = voicings("C7", GUIDE).voicings[-1].voicing
    path = solve("| C7 |", GUIDE, pins=[Pin(0, midi_notes=wanted.midi_notes)])
    assert path.steps[0].voicing == wanted
