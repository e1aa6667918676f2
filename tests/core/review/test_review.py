"""Reviews: a best path comes back clean, each planted fault is named, and nothing else is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortway.core import charts
from shortway.core.errors import PlayedError, SettingError, WrongType
from shortway.core.review.findings import CODES, VoicingContext
from shortway.core.review.note_naming import name_notes
from shortway.core.review.review import Review, review
from shortway.core.review.rules import check_voicing, split
from shortway.core.settings.setting import resolve
from shortway.core.solver.solve import Path, solve, voicings
from shortway.core.symbols.parser import parse
from shortway.core.theory.pitch import midi_number
from shortway.core.voicings.candidates import candidates
from shortway.core.voicings.melody_constraints import MelodyConstraint
from support.charts import ROOTS, SETTINGS, SITUATIONS, SUFFIXES, demo_charts
from support.charts import charts as any_chart
from support.plain import muddy, pitch_class, pitches, semitones
from support.tables import each_row

TURN = "| Dm7 | G7 | Cmaj7 | % |"
#: One hand with room: nothing but what is planted is out of order.
ROOMY = {"hands": "left", "lowest": "C2", "highest": "C7"}
ALONE = {"bass_player": False, "lowest": "C2", "highest": "C8"}


def played_of(path: Path) -> list[list[int] | None]:
    return [None if s.voicing is None else list(s.voicing.midi_notes) for s in path.steps]


def codes(found: Review, step: int = 0) -> set[str]:
    return {finding.code for finding in found.steps[step].findings}


def in_key(chart: str, semitones_up: int) -> str:
    """A text chart of plain roots in another key."""
    steps = charts.unroll(charts.parse_chart(chart))
    return "| " + " | ".join(_up(step.chord, semitones_up) for step in steps) + " |"


def _up(chord: Any, semitones_up: int) -> str:
    if chord.root is None:
        return "N.C."
    root = ROOTS[(chord.root_pc + semitones_up) % 12]
    over = "" if chord.bass is None else f"/{ROOTS[(chord.bass_pc + semitones_up) % 12]}"
    return root + chord.quality + over


# --- a best path ------------------------------------------------------------------------------


def assert_is_clean(found: Review, path: Path) -> None:
    assert found.excess == 0
    assert found.count("fault") == 0, [f for s in found.steps for f in s.findings]
    assert (found.motion, found.loop_motion, found.bass_motion) == (
        path.motion,
        path.loop_motion,
        path.bass_motion,
    )
    assert found.largest_leap == path.largest_leap
    for step, told in zip(found.steps, path.steps, strict=True):
        if told.voicing is None:
            assert (step.notes, step.findings, step.excess) == ((), (), None)
            continue
        assert (step.distance, step.excess, step.motion) == (0, 0, told.motion)
        assert step.moves == told.moves
        assert step.best == told.voicing
        assert (step.played.family, step.played.form) == (told.voicing.family, told.voicing.form)
        assert [n.degree for n in step.notes] == [n.degree for n in told.voicing.notes]
        assert [n.note for n in step.notes] == [n.note for n in told.voicing.notes]
        assert step.hands is not None
        assert step.hands.left == len(told.voicing.left)
        assert step.hands.span_mm == told.voicing.span_mm


@each_row("name, setting", product(sorted(demo_charts()), SITUATIONS), sample=6)
def test_a_best_path_is_clean_in_every_situation(name: str, setting: dict[str, object]) -> None:
    chart = demo_charts()[name]
    for loop in (False, True):
        path = solve(chart, setting, loop=loop)
        assert_is_clean(review(chart, played_of(path), setting, loop=loop), path)


@each_row("key", range(12), sample=2)
def test_a_best_path_is_clean_in_every_key(key: int) -> None:
    for setting in ({}, {"bass_player": False}, {"hands": "left"}):
        for chart in demo_charts().values():
            moved = in_key(chart, key)
            path = solve(moved, setting)
            assert_is_clean(review(moved, played_of(path), setting), path)


@each_row(
    "setting",
    SETTINGS,
)
def test_a_best_path_is_clean_with_every_setting(setting: dict[str, object]) -> None:
    chart = "| Dm7b5 | G7b9 | Cm6 | % | N.C. | Ab7#11 | G7/F | Ebmaj7 |"
    for loop in (False, True):
        path = solve(chart, setting, loop=loop)
        assert_is_clean(review(chart, played_of(path), setting, loop=loop), path)


@given(any_chart(), st.sampled_from(SETTINGS), st.booleans())
def test_a_best_path_of_any_chart_is_clean(
    chart: str, setting: dict[str, object], loop: bool
) -> None:
    if setting.get("repeats") == "change":
        loop = False  # a loop over one chord has nothing to change to in some settings
    try:
        path = solve(chart, setting, loop=loop)
    except Exception:
        return
    assert_is_clean(review(chart, played_of(path), setting, loop=loop), path)


#: A slash bass that is a tension of the chord and is written unlike it, and a note so named above.
UNLIKE = (
    ("E7b13/Gb", "F#5", "9"),
    ("Eb7(no3)/Gb", "F#5", "#9"),
    ("Ab7b5/E", "Fb4", "b13"),
    ("B/Db", "C#5", "9"),
    ("B7/Ab", "G#4", "13"),
)


@pytest.mark.parametrize(("symbol", "name", "degree"), UNLIKE)
def test_a_note_over_a_slash_bass_is_named_as_the_path_names_it(
    symbol: str, name: str, degree: str
) -> None:
    """Contract: spelling follows the chord; the bass alone is spelled as it is written."""
    chord = parse(symbol)
    for has_player in (True, False):
        setting = resolve({"bass_player": has_player, "tensions": "available"})
        found = candidates(chord, setting)
        for k in range(0, len(found), 1 + len(found) // 50):
            notes = name_notes(chord, found.available, found.midi(k), has_bass=found.has_bass)
            told = found.voicing(k, chord).notes
            assert [(n.note, n.degree) for n in notes] == [(n.note, n.degree) for n in told]
        midi = midi_number(name)
        (note,) = name_notes(chord, found.available, [midi], has_bass=False)
        assert (note.note, note.degree, note.part) == (name, degree, "bass")


#: Each suffix in three keys.
THREE_KEYS = [
    root + suffix for number, suffix in enumerate(SUFFIXES) for root in ROOTS[number % 4 :: 4]
]


@each_row("setting, symbol", product(SETTINGS, THREE_KEYS), sample=100)
def test_no_listed_voicing_is_found_fault_with(setting: dict[str, object], symbol: str) -> None:
    """Every rule of the review is one that candidates obey."""
    resolved, chord = resolve({**setting, "tensions": "available"}), parse(symbol)
    found = candidates(chord, resolved)
    for k in range(0, len(found), 1 + len(found) // 20):
        notes = name_notes(chord, found.available, found.midi(k), has_bass=found.has_bass)
        assert [n.degree for n in notes[int(found.has_bass) :]] == list(found.degrees(k))
        context = VoicingContext(chord, found.available, resolved, notes, MelodyConstraint(), True)
        faults = [f for f in check_voicing(context) if f.severity == "fault"]
        assert faults == [], found.midi(k)


# --- planted faults ---------------------------------------------------------------------------

#: Low, so that low interval limits tell in few keys (M2 Eb3, m3 C3, m7 F2: three tables agree).
LOW = {"hands": "left", "lowest": "C2", "highest": "C6", "low_interval_limits": "usual"}
TWO = {"hands": "both", "lowest": "C3", "highest": "C7"}
WIDE = {**ROOMY, "reach": "eleventh"}
Row = tuple[str, str, Mapping[str, object], str, Sequence[int], Sequence[str]]

#: Chord in C, notes, setting, what is found; of the first: which notes it names, and degrees.
PLANTED: tuple[Row, ...] = (
    ("Cmaj7", "E3 G3 D4", ROOMY, "guide-tone-missing", (), ("7",)),
    ("C7", "E3 A3 D4", ROOMY, "guide-tone-missing", (), ("b7",)),
    ("Cm7", "G3 Bb3 D4", ROOMY, "guide-tone-missing", (), ("b3",)),
    ("C7sus", "G3 Bb3 D4", ROOMY, "guide-tone-missing", (), ("4",)),
    ("C6", "E3 G3 D4", ROOMY, "guide-tone-missing", (), ("6",)),
    ("Cmaj7", "G3 A3 D4", ROOMY, "guide-tone-missing", (), ("3",)),
    ("C7", "G3 A3 D4", ROOMY, "guide-tone-missing", (), ("3", "b7")),
    ("Cm7b5", "Eb3 Bb3 F4", ROOMY, "flat-fifth-missing", (), ("b5",)),
    ("Cdim7", "Eb3 A3 D4", ROOMY, "flat-fifth-missing", (), ("b5",)),
    ("C7", "Eb3 Bb3 D4", ROOMY, "guide-tone-wrong", (0,), ("3",)),
    ("C7", "F3 Bb3 D4", ROOMY, "guide-tone-wrong", (0,), ("3",)),
    ("Cmaj7", "Eb3 B3 D4", ROOMY, "guide-tone-wrong", (0,), ("3",)),
    ("Cmaj7", "E3 Bb3 D4", ROOMY, "guide-tone-wrong", (1,), ("7",)),
    ("Cm7", "E3 Bb3 D4", ROOMY, "guide-tone-wrong", (0,), ("b3",)),
    ("C7", "E3 B3 D4", ROOMY, "guide-tone-wrong", (1,), ("b7",)),
    ("C7sus", "E3 Bb3 D4", ROOMY, "guide-tone-wrong", (0,), ("4",)),
    ("C7b9", "Eb3 Bb3 Db4", ROOMY, "guide-tone-wrong", (0,), ("3",)),
    ("Cmaj7", "E3 B3 C#4 D4", ROOMY, "foreign-note", (2,), ("b9",)),
    ("Cmaj7", "E3 B3 D4 F4", ROOMY, "foreign-note", (3,), ("11",)),
    ("Cm7", "Eb3 Bb3 D4 E4", ROOMY, "foreign-note", (3,), ("3",)),
    ("Cm7", "Eb3 Bb3 B3 D4", ROOMY, "foreign-note", (2,), ("7",)),
    ("C7", "E3 Bb3 B3", ROOMY, "foreign-note", (2,), ("7",)),
    ("C7b9", "E3 G3 Bb3 Db4 D4", ROOMY, "foreign-note", (4,), ("9",)),
    ("C7", "C2 E3 Bb3 B3", ALONE, "foreign-note", (3,), ("7",)),
    ("C7", "E3 Bb3 Db4 D4", ROOMY, "colours-clash beyond-setting", (2, 3), ("b9", "9")),
    ("C7", "E3 G#3 A3 Bb3", ROOMY, "colours-clash beyond-setting", (1, 2), ("b13", "13")),
    ("C11", "E3 F3 Bb3 D4", ROOMY, "colours-clash", (0, 1), ("3", "11")),
    ("Cmaj7", "E3 B3 D4 G4 C5", TWO, "minor-ninth", (1, 4), ("7", "1")),
    ("Cm7", "D4 Bb4 C5 Eb5", TWO, "minor-ninth", (0, 3), ("9", "b3")),
    ("C7", "C2 E2 Bb3 D4 A4", ALONE, "mud", (0, 1), ("1", "3")),
    ("Cm7", "C2 Bb2 Eb3 G3", ALONE, "mud", (0, 1), ("1", "b7")),
    ("Cm7", "Bb2 C3 Eb3 G3", LOW, "mud", (0, 1), ("b7", "1")),
    ("Cm7", "D3 G3 Bb3 Eb4", WIDE, "minor-ninth mud", (0, 3), ("9", "b3")),
    ("Cmaj7", "E3 B3 D4 G4", ROOMY, "stretch", (0, 1, 2, 3), ("3", "7", "9", "5")),
    ("C7", "C2 E3 D4 Bb4 A6", ALONE, "stretch", (0, 1, 2, 3, 4), ("1", "3", "9", "b7", "13")),
    ("C13", "E3 G3 A3 Bb3 C4 D4", ROOMY, "too-many-notes", (0, 1, 2, 3, 4, 5),
     ("3", "5", "13", "b7", "1", "9")),
    ("C7", "E3 Bb3 D4 A4", {"hands": "both", "lowest": "C2", "highest": "G4"},
     "out-of-range", (3,), ("13",)),
    ("C7", "E2 Bb3 D4 A4", ALONE, "bass-wrong", (0,), ("3",)),
    ("C7/G", "C3 E3 Bb3 D4", ALONE, "bass-wrong", (0,), ("1",)),
    ("C7", "C3 E3 Bb3 D4", WIDE, "bass-doubled", (0,), ("1",)),
    ("C7", "E3 Bb3 Eb4", ROOMY, "beyond-setting", (2,), ("#9",)),
    ("C7b9", "E3 G3 Bb3 C4", ROOMY, "written-missing", (), ("b9",)),
    ("C7#9", "E3 Bb3 D#4 D#5", TWO, "alteration-doubled", (2, 3), ("#9", "#9")),
)  # fmt: skip
#: Rows that lie low on purpose: a third up they are out of order no more.
LOWEST_KEYS = ("mud", "bass-doubled", "minor-ninth mud")


@each_row("key", [0, 1, 4, 6, 9])
@each_row(
    "symbol, notes, setting, code, places, degrees",
    PLANTED,
)
def test_a_planted_fault_is_named_and_nothing_else(
    key: int,
    symbol: str,
    notes: str,
    setting: Mapping[str, object],
    code: str,
    places: Sequence[int],
    degrees: Sequence[str],
) -> None:
    if code in LOWEST_KEYS and key > 1:
        return
    chart = in_key(f"| {symbol} |", key)
    midi = sorted(note + key for note in pitches(notes))
    given_setting = dict(setting) | {"tensions": "available"}
    if given_setting.get("highest") == "G4":
        given_setting["highest"] = midi_name(67 + key)
    found = review(chart, [midi], given_setting)
    assert codes(found) == set(code.split()), [f.words for f in found.steps[0].findings]
    finding = found.steps[0].findings[0]
    assert list(finding.midi_notes) == [midi[place] for place in places]
    assert list(finding.degrees) == list(degrees)
    assert finding.severity == CODES[finding.code][0]


#: The other third and the fourth, and the other seventh, in semitones: common practice, no source.
MISTAKEN = {"3": (3, 5), "b3": (4,), "b7": (11,), "7": (10,), "6": (10,)}


def midi_name(midi: int) -> str:
    return f"{ROOTS[midi % 12]}{midi // 12 - 1}"


@each_row("key, slip", product(range(12), [-1, 1]), sample=4)
def test_a_slip_by_a_half_step_is_named(key: int, slip: int) -> None:
    """Every voice of every step slips; plain Python says what that breaks."""
    chart = in_key("| Dm7 | G7 | Cmaj7 | A7b9 | Dm7b5 | Cm6 |", key)
    setting = resolve({**ROOMY, "tensions": "available"})
    path = solve(chart, setting)
    for index, step in enumerate(path.steps):
        assert step.voicing is not None
        for voice in range(len(step.voicing.midi_notes)):
            midi = list(step.voicing.midi_notes)
            midi[voice] += slip
            if len(set(midi)) < len(midi) or _is_tone(step.step.chord, midi[voice]):
                continue
            played = played_of(path)
            played[index] = sorted(midi)
            found = review(chart, played, setting)
            degree = step.voicing.notes[voice].degree
            expected = {"foreign-note"}
            if degree in step.step.chord.guide_tones:
                above = (midi[voice] - (step.step.chord.root_pc or 0)) % 12
                wrong = above in MISTAKEN.get(degree, ())
                sixth = degree == "7" and {"6", "13"} & {n.degree for n in step.voicing.notes}
                expected = {"guide-tone-wrong"} if wrong else {"foreign-note", "guide-tone-missing"}
                expected = {"foreign-note"} if sixth else expected  # it stands for the seventh
            if step.voicing.notes[voice].degree == "b5":
                expected |= {"flat-fifth-missing"}
            if step.voicing.notes[voice].degree == "b9":
                expected |= {"written-missing"}
            if muddy(tuple(sorted(midi))):
                expected |= {"mud"}
            assert codes(found, index) == expected, (step.step.symbol, midi)
            named = found.steps[index].findings
            codes_ = ("foreign-note", "guide-tone-wrong")
            assert midi[voice] in [n for f in named if f.code in codes_ for n in f.midi_notes]
            assert all(codes(found, other) == set() for other in range(6) if other != index)


def _is_tone(chord: Any, midi: int) -> bool:
    """Whether a key is a tone or tension of the chord, by the degrees' own semitones."""
    degrees = [*chord.degrees, *(tone.degree for tone in chord.tensions)]
    root = pitch_class(chord.root)
    return any((root + semitones(degree) - midi) % 12 == 0 for degree in degrees)


def test_a_pedal_point_is_a_remark() -> None:
    """Aldwell and Schachter, on pedal points (from memory): C held below F7, G7 and C."""
    chart, setting = "| C6 | G7 | F6 | Db7 | C6 |", {"bass_player": False, "hands": "both"}
    upper = ["E4 A4 D5", "F4 B4 E5", "A4 C5 D5", "F4 B4 Eb5", "E4 A4 D5"]
    held = [list(pitches(f"C3 {notes}")) for notes in upper]
    found = review(chart, held, setting)
    pedal = [k for k in range(5) if "pedal-point" in codes(found, k)]
    assert pedal == [1, 2, 3]
    assert not any({"bass-wrong", "foreign-note"} & codes(found, k) for k in range(5))
    struck = [[*notes] for notes in held]
    struck[1] = list(pitches("Db3 F4 B4 E5"))
    assert "bass-wrong" in codes(review(chart, struck, setting), 1)


def test_early_and_late_are_said_and_a_rhythm_is_none() -> None:
    """An anticipation by an eighth note and a chord on an off-beat are rhythms."""
    path = solve("| Dm7 | G7 | Cmaj7 | % | A7b9 |")
    times = [Fraction(3, 16), Fraction(-3, 16), Fraction(-1, 2), Fraction(1, 16), None]
    found = review("| Dm7 | G7 | Cmaj7 | % | A7b9 |", played_of(path), timing=times)
    assert [codes(found, k) for k in range(5)] == [{"late"}, {"early"}, set(), set(), set()]
    assert found.count("fault") == 0


def test_what_is_played_well_is_said() -> None:
    """A best path: guide tones and asked colours by name, and a way that no other beats."""
    path = solve("| Dm7 | G7 | Cmaj7 | % |")
    found = review("| Dm7 | G7 | Cmaj7 | % |", played_of(path))
    said = [{f.code: f for f in step.strengths} for step in found.steps]
    assert [set(step) for step in said[1:3]] == 2 * [{"well-voiced", "well-led"}]
    assert {"3", "b7"} <= set(said[1]["well-voiced"].degrees)
    assert "the 3 (B)" in said[1]["well-voiced"].words
    bare = played_of(path)
    bare[1] = list(pitches("F3 A3 D4"))
    worse = review("| Dm7 | G7 | Cmaj7 | % |", bare).steps[1]
    assert worse.strengths == ()
    assert all(f.severity == "strength" for step in found.steps for f in step.strengths)


def test_what_a_setting_waives_is_not_found() -> None:
    for notes, rule in (("E3 G3 D4", "guide-tones"), ("E3 B3 D4 C5", "minor-ninths")):
        setting = {"hands": "both", "waive": [rule]}
        assert codes(review("| Cmaj7 |", [list(pitches(notes))], setting)) == set()
    clash, free = [list(pitches("E3 Bb3 Db4 D4"))], {**ROOMY, "tensions": "available"}
    assert "colours-clash" in codes(review("| C7 |", clash, free))
    assert codes(review("| C7 |", clash, {**free, "waive": ["colours"]})) == {"beyond-setting"}


def test_a_repeated_chord_has_to_change_where_the_setting_says_so() -> None:
    notes = list(pitches("F3 A3 C4 E4"))
    setting = {"hands": "left", "repeats": "change"}
    found = review("| Dm7 | % |", [notes, notes], setting)
    assert (codes(found, 0), codes(found, 1)) == (set(), {"unchanged"})
    assert codes(review("| Dm7 | % |", [notes, notes], {"hands": "left"}), 1) == set()


def test_notes_without_a_chord_and_a_chord_without_notes() -> None:
    found = review("| N.C. | Dm7 | N.C. |", [["C4"], [], None])
    assert [codes(found, k) for k in range(3)] == [{"no-chord"}, {"nothing-played"}, set()]
    assert [note.degree for note in found.steps[0].notes] == [""]
    assert (found.motion, found.excess, found.best.motion) == (0, 0, 0)
    assert all(step.motion is None for step in found.steps)


def test_a_missed_pin_is_remarked() -> None:
    path = solve(TURN, {"hands": "left"})
    first = path.steps[0].voicing
    assert first is not None
    other = next(v for v in voicings("Dm7", {"hands": "left"}).voicings if v.voicing != first)
    pins = [{"step": 0, "midi_notes": list(other.voicing.midi_notes)}]
    found = review(TURN, played_of(path), {"hands": "left"}, pins=pins)
    assert [codes(found, k) for k in range(4)] == [{"pin-missed"}, set(), set(), set()]
    assert found.best.steps[0].voicing == other.voicing


# --- below a melody ---------------------------------------------------------------------------

ANY = {"families": ["any-playable"], "notes": 5, "lowest": "C3", "highest": "C6"}
SUNG: dict[str, object] = {
    "measures": [
        [{"symbol": "Dm7", "melody": ["A5"]}],
        [{"symbol": "G7", "melody": ["A4", "B4"], "ceiling": "C5"}],
        [{"symbol": "Cmaj7", "melody": ["C5"]}],
        [{"symbol": "Cmaj7", "melody": ["E5"]}],
        [{"symbol": "Fmaj7", "top": "E5"}],
    ]
}


@pytest.mark.parametrize("how", ["avoid", "below", "carry", "ignore"])
@pytest.mark.parametrize("loop", [False, True])
def test_a_best_path_below_a_melody_is_clean(how: str, loop: bool) -> None:
    setting = {"melody": how, **ANY}
    path = solve(SUNG, setting, loop=loop)
    assert_is_clean(review(SUNG, played_of(path), setting, loop=loop), path)


@each_row(
    "entry, notes, setting, expected",
    [
        ({"melody": ["C4"]}, "E3 B3 D4 G4 A4", TWO, {"against-melody"}),
        # D4 lies a minor ninth below the sung Eb5: the context does not ask for the 9 either.
        ({"melody": ["Eb5"]}, "E3 B3 D4 G4 A4", TWO, {"against-melody", "beyond-setting"}),
        ({"melody": ["C6"]}, "E3 B3 D4 G4 A4", TWO, {"against-melody"}),
        ({"melody": ["G4"]}, "E3 B3 D4 G4 A4", TWO, set()),
        ({"melody": ["C4"]}, "E3 B3 D4 G4 A4", {**TWO, "melody": "ignore"}, set()),
        ({"melody": ["C6"]}, "E3 B3 D4 G4 A4", {**TWO, "waive": ["minor-ninths"]}, set()),
        ({"melody": ["G4"]}, "E3 B3 D4 G4 A4", {**TWO, "melody": "below"}, {"over-melody"}),
        ({"melody": ["G5"]}, "E3 B3 D4 G4 A4", {**TWO, "melody": "below"}, set()),
        ({"melody": ["B4"]}, "E3 B3 D4 G4 A4", {**TWO, "melody": "carry"}, {"not-on-top"}),
        ({"melody": ["A4"]}, "E3 B3 D4 G4 A4", {**TWO, "melody": "carry"}, set()),
        ({"ceiling": "A4"}, "E3 B3 D4 G4 A4", TWO, {"above-ceiling"}),
        ({"ceiling": "Bb4"}, "E3 B3 D4 G4 A4", TWO, set()),
        ({"top": "B4"}, "E3 B3 D4 G4 A4", TWO, {"not-on-top"}),
        ({"top": "A4"}, "E3 B3 D4 G4 A4", TWO, set()),
    ],
)
def test_what_lies_over_a_step_is_heard(
    entry: dict[str, object], notes: str, setting: dict[str, object], expected: set[str]
) -> None:
    chart = {"measures": [[{"symbol": "Cmaj7", **entry}]]}
    assert codes(review(chart, [list(pitches(notes))], {**setting, **ANY})) == expected


# --- hands ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("notes", "setting", "left"),
    [
        ("F3 B3 E4 A4 D5", {}, 2),
        ("F3 G3 A3 B3 C4 D5", {}, 4),
        ("F2 G3 B3 D4 F4", {}, 2),
        ("F2 A3 C4 E4 G4", {}, 1),
        ("F3 A3 C4 E4", {"hands": "left"}, 4),
        ("F3 A3 C4 E4", {"hands": "right"}, 0),
        ("D3 F4", {"hands": "left"}, None),
        ("D3 F4", {"hands": "left", "reach": "tenth"}, 2),
        ("D3 F4", {}, 1),
    ],
)
def test_hands(notes: str, setting: dict[str, object], left: int | None) -> None:
    """D to F, a tenth: 211.5 mm, beyond a ninth's reach of 198 (`support.plain`)."""
    assert split(list(pitches(notes)), resolve(setting)) == left


# --- comparison -------------------------------------------------------------------------------


@given(st.data(), st.sampled_from(SITUATIONS), st.booleans())
def test_excess_is_the_sum_of_the_steps_own(
    data: st.DataObject, setting: dict[str, object], loop: bool
) -> None:
    """And never below 0 where every voicing is a listed one."""
    chart = "| Dm7 | G7 | Cmaj7 | % | A7b9 |"
    setting = {**setting, "tensions": "available"}
    resolved = resolve(setting)
    played: list[list[int] | None] = []
    for step in charts.unroll(charts.parse_chart(chart)):
        found = candidates(step.chord, resolved)
        rows = st.integers(0, len(found) - 1)
        played.append(data.draw(st.one_of(st.none(), rows.map(lambda k: [*found.midi(k)]))))  # noqa: B023
    said = review(chart, played, setting, loop=loop)
    own = [step.excess for step in said.steps if step.excess is not None]
    assert sum(own) == said.excess >= 0
    assert all(excess >= 0 for excess in own)
    assert said.count("fault") == played.count(None)
    if loop:
        first = next((s for s in said.steps if s.motion is not None), None)
        assert said.loop_motion == (0 if first is None else first.motion)


def test_any_best_path_has_no_excess_though_it_is_another() -> None:
    path = solve(TURN, alternatives=30)
    for other in path.alternatives:
        found = review(TURN, played_of(other))
        assert found.excess == other.cost - path.cost


# --- what is refused --------------------------------------------------------------------------


@each_row(
    "played, error, pointer, words",
    [
        ([[60]], PlayedError, "/played", "4 steps, and what was played 1"),
        ([[60]] * 5, PlayedError, "/played", "4 steps, and what was played 5"),
        ([], PlayedError, "/played", "what was played 0"),
        ("F3 A3", WrongType, "/played", "a list"),
        ([[60], "C4", None, None], WrongType, "/played/1", "a list"),
        ([[60], [61, 20], None, None], SettingError, "/played/1/1", "off the keyboard"),
        ([[60], [109], None, None], SettingError, "/played/1/0", "off the keyboard"),
        ([[60], ["G8"], None, None], SettingError, "/played/1/0", "off the keyboard"),
        ([[60], [128], None, None], SettingError, "/played/1/0", "off the keyboard"),
        ([[60], [60.0], None, None], WrongType, "/played/1/0", "must be a name"),
        ([[60], [True], None, None], WrongType, "/played/1/0", "must be a name"),
        ([[60], ["H4"], None, None], SettingError, "/played/1/0", "not a pitch"),
        ([[60], [60, "C4"], None, None], PlayedError, "/played/1/1", "twice"),
        ([[60], list(range(40, 53)), None, None], PlayedError, "/played/1", "13 notes"),
    ],
)
def test_what_is_refused(played: Any, error: type[Exception], pointer: str, words: str) -> None:
    with pytest.raises(error, match=words) as caught:
        review(TURN, played)
    assert caught.value.faults[0].pointer == pointer  # type: ignore[attr-defined]


NOTES = st.lists(st.integers(21, 108), max_size=12, unique=True)


@given(st.data(), any_chart(), st.sampled_from(SITUATIONS), st.booleans())
def test_whatever_is_played_is_reviewed(
    data: st.DataObject, chart: str, setting: dict[str, object], loop: bool
) -> None:
    steps = charts.unroll(charts.parse_chart(chart))
    played = data.draw(st.lists(st.one_of(st.none(), NOTES), min_size=len(steps),
                                max_size=len(steps)))  # fmt: skip
    found = review(chart, played, setting, loop=loop)
    assert sum(step.excess or 0 for step in found.steps) == found.excess
    for step, notes in zip(found.steps, played, strict=True):
        assert [note.midi for note in step.notes] == sorted(notes or [])
        assert all(set(f.midi_notes) <= set(notes or []) for f in step.findings)
        ninths = [f.midi_notes for f in step.findings if f.code == "minor-ninth"]
        assert all(high - low > 12 and (high - low) % 12 == 1 for low, high in ninths)


def test_a_repeated_chord_may_not_go_on_to_its_own_notes_under_another_family() -> None:
    """Families agree on notes at times: what must change may then take neither row."""
    setting = {"repeats": "change"}
    path = solve("| Ddim | Ddim | F6/9/A | F6/9/A |", setting)
    found = review("| Ddim | Ddim | F6/9/A | F6/9/A |", played_of(path), setting)
    assert [step.excess for step in found.steps] == [0, 0, 0, 0]
