"""Voicings that others printed, and what pianists say of them.

- HUTCHINSON: *Music Theory for the 21st-Century Classroom*, jazz unit (GFDL), read from its
  figures; basses of the book lie down to C2, so the range is widened to it.
- OMT: *Open Music Theory* v2, jazz voicings (CC BY-SA).
- SITES: several teaching sites that agree on the notes.
- TRADE: common practice, no source.

Lines are solved for the least motion alone: where a printed line is that once its first chord is
given, it must come out of the solver note by note; where only its basses differ (the book likes
root position low, the solver the nearer octave), its upper voices must.
"""

from __future__ import annotations

from itertools import pairwise

import pytest

from reference.textbook import HUTCHINSON, SINGLE, line
from shortway.core.solver.solve import solve, voicings
from support.charts import ROOTS
from support.plain import minor_ninths, motion, pitch, pitch_class, pitches
from support.tables import each_row

#: A pianist without a bass player, over the book's low basses.
ALONE: dict[str, object] = {
    "bass_player": False,
    "families": ["spread", "rootless"],
    "notes": 4,
    "lowest": "C2",
    "highest": "C6",
    "pricing": "none",
}

#: Motion of the upper voices from chord to chord, as the book's notes make it.
UPPER_MOTION = {
    "ii V I close": [1, 5],
    "ii V I spread": [1, 5],
    "ii V i close": [4, 8],
    "tritone substitute": [3, 5],
    "iii vi ii V": [2, 4, 1],
    "blues spread": [1, 4, 2, 4, 1, 1],
    "blues close": [1, 4, 2, 4, 1, 1],
}


def tensions_of(symbol: str) -> str:
    """The book's Em7 is a plain chord, 7 1 3 5, which no added 9 may crowd out."""
    return "written" if symbol == "Em7" else "available"


@each_row(
    "symbol, notes",
    [*line(SINGLE), *(row for text in HUTCHINSON.values() for row in line(text))],
)
def test_every_printed_voicing_is_a_candidate(symbol: str, notes: tuple[int, ...]) -> None:
    """HUTCHINSON."""
    listing = voicings(symbol, {**ALONE, "tensions": tensions_of(symbol)})
    assert notes in [ranked.voicing.midi_notes for ranked in listing.voicings]


#: Lines that come out note by note, and those whose upper voices do.
EXACT = {"ii V i close", "tritone substitute", "blues spread"}
UPPER = {*EXACT, "iii vi ii V", "blues close"}


@pytest.mark.parametrize("name", sorted(HUTCHINSON))
def test_printed_lines_come_out_once_they_are_begun(name: str) -> None:
    """HUTCHINSON, with what the symbols write.

    The major ii V I has two answers with the book's motion, of which the solver takes the other
    (G13 with its root for its 9), and its spread form ends on a 9 that the symbol Cmaj7 lacks.
    """
    rows = line(HUTCHINSON[name])
    printed = [notes for _, notes in rows]
    assert [motion(a[1:], b[1:])[0] for a, b in pairwise(printed)] == UPPER_MOTION[name]
    family = "spread" if name == "blues spread" else "rootless"
    setting = {**ALONE, "families": [family], "tensions": "written"}
    text = "| " + " | ".join(symbol for symbol, _ in rows) + " |"
    path = solve(text, setting, pins=[{"step": 0, "midi_notes": list(printed[0])}])
    found = [step.voicing.midi_notes for step in path.steps if step.voicing]
    assert ([notes[1:] for notes in found] == [notes[1:] for notes in printed]) == (name in UPPER)
    assert (found == printed) == (name in EXACT)
    assert (path.motion == sum(UPPER_MOTION[name])) == (name != "ii V I spread")


@pytest.mark.parametrize("name", sorted(HUTCHINSON))
def test_no_printed_line_moves_less_than_the_answer(name: str) -> None:
    """HUTCHINSON, with tensions as available as the book's."""
    rows = line(HUTCHINSON[name])
    text = "| " + " | ".join(symbol for symbol, _ in rows) + " |"
    path = solve(text, {**ALONE, "tensions": "available"})
    assert path.motion <= sum(UPPER_MOTION[name])


def test_the_tritone_substitute_has_the_altered_dominants_right_hand() -> None:
    """HUTCHINSON: Db13 and G7#9#5 are the same four notes over different basses."""
    setting = {"families": ["rootless"], "hands": "right"}
    substitute = {ranked.voicing.midi_notes for ranked in voicings("Db13", setting).voicings}
    altered = {ranked.voicing.midi_notes for ranked in voicings("G7#9#5", setting).voicings}
    assert pitches("B3 Eb4 F4 Bb4") in substitute & altered


# --- guide tones as the open books print them ----------------------------------------------------

SHELLS = {
    "families": ["shell"],
    "hands": "left",
    "lowest": "E3",
    "highest": "C5",
    "pricing": "none",
}


def test_two_guide_tones_walk_down_the_circle_of_dominants() -> None:
    """OMT and HUTCHINSON: D4 G#4, C#4 G4, C4 F#4, B3 F4, two semitones a step."""
    path = solve("| E7 | A7 | D7 | G7 |", SHELLS, pins=[{"step": 0, "midi_notes": [62, 68]}])
    printed = ["D4 G#4", "C#4 G4", "C4 F#4", "B3 F4"]
    assert [s.voicing.midi_notes for s in path.steps if s.voicing] == [pitches(p) for p in printed]
    assert [s.motion for s in path.steps] == [0, 2, 2, 2]


def test_two_guide_tones_of_a_two_five_one_in_f() -> None:
    """OMT: F4 Bb4, E4 Bb4, E4 A4, one semitone a step."""
    path = solve("| Gm7 | C7 | Fmaj7 |", SHELLS, pins=[{"step": 0, "midi_notes": [65, 70]}])
    assert [s.voicing.midi_notes for s in path.steps if s.voicing] == [(65, 70), (64, 70), (64, 69)]


@pytest.mark.parametrize("symbol", ["C7", "Cm7", "Cmaj7", "Cm7b5", "Cdim7", "C7sus", "C6"])
def test_two_guide_tones_are_a_fourth_or_a_fifth_apart(symbol: str) -> None:
    """OMT, computed from its rule: 5, 6 or 7 semitones; a diminished or sus one also."""
    apart = {b - a for a, b in (r.voicing.midi_notes for r in voicings(symbol, SHELLS).voicings)}
    assert apart <= {5, 6, 7}
    assert len(apart) > 0


ROOTLESS_LINES = {
    "rootless": ["F3 A3 C4 E4; F3 A3 B3 E4; E3 G3 B3 D4"],
    "rootless-three": ["F3 C4 E4; F3 B3 E4; E3 B3 D4"],
}


@pytest.mark.parametrize(
    ("family", "text"), [(f, text) for f, texts in ROOTLESS_LINES.items() for text in texts]
)
def test_rootless_two_five_ones_come_out_once_begun(family: str, text: str) -> None:
    """SITES: F A C E, F A B E, E G B D; 3 7 9 with three notes."""
    printed = [pitches(notes) for notes in text.split(";")]
    setting = {"hands": "left", "families": [family], "tensions": "written", "pricing": "none"}
    path = solve(
        "| Dm9 | G13 | Cmaj9 |", setting, pins=[{"step": 0, "midi_notes": list(printed[0])}]
    )
    assert [step.voicing.midi_notes for step in path.steps if step.voicing] == printed


# --- drop voicings and fourths -------------------------------------------------------------------

DROPS = {
    "drop-2": ["G3 C4 E4 B4", "B3 E4 G4 C5", "C4 G4 B4 E5", "E4 B4 C5 G5"],
    "drop-3": ["E3 C4 G4 B4", "G3 E4 B4 C5", "B3 G4 C5 E5", "C4 B4 E5 G5"],
    "drop-2-4": ["C4 G4 E5 B5", "E3 B3 G4 C5", "G3 C4 B4 E5", "B3 E4 C5 G5"],
}


@pytest.mark.parametrize("family", sorted(DROPS))
def test_cmaj7_drops_in_every_inversion(family: str) -> None:
    """SITES for drop 2 and drop 3 of C E G B; the rest computed from the definition.

    Where an inversion has its root a minor ninth above the seventh (B E G C), the hard rule keeps
    it out unless it is waived; a half step between the two top notes (G E B C) always does.
    """
    setting = {"families": [family], "tensions": "written", "reach": "eleventh"}
    setting |= {"lowest": "E3"}
    drops = {midi for midi in map(pitches, DROPS[family]) if midi[-1] - midi[-2] > 1}
    listed = {r.voicing.midi_notes for r in voicings("Cmaj7", setting).voicings}
    waived = {**setting, "waive": ["minor-ninths"]}
    assert drops <= {r.voicing.midi_notes for r in voicings("Cmaj7", waived).voicings}
    assert drops & listed == {notes for notes in drops if not minor_ninths(notes)}
    assert 0 < len(drops & listed) < 4


STACKS = [
    ("Dm7", "D4 G4 C5 F5 A5"),
    ("Am11", "E3 A3 D4 G4 B4"),
    ("Dm7", "A3 D4 G4 C5 F5"),
    ("G13", "F3 B3 E4 A4 D5"),
    ("Cmaj7", "B3 E4 A4 D5 G5"),
    ("Cmaj9", "E3 A3 D4 G4 C5"),
]


@pytest.mark.parametrize(("symbol", "notes"), STACKS)
def test_stacks_of_fourths_as_taught(symbol: str, notes: str) -> None:
    """SITES: fourths with a third on top, perfect stacks, a tritone at the bottom of G13."""
    setting = {"families": ["fourths"], "notes": 5, "low_interval_limits": "usual"}
    setting |= {"lowest": "C3", "highest": "C6"}
    listed = {r.voicing.midi_notes for r in voicings(symbol, setting).voicings}
    assert pitches(notes) in listed


def test_the_low_stack_on_d_has_intervals_five_five_five_four() -> None:
    """SITES: D G C F A."""
    setting = {"families": ["fourths"], "low_interval_limits": "off"}
    setting |= {"lowest": "C3", "highest": "C5"}
    found = [ranked.voicing.midi_notes for ranked in voicings("Dm11", setting).voicings]
    assert pitches("D3 G3 C4 F4 A4") in found
    # Low limits, table B: a fourth wants Bb2 below it, so nothing forbids D3 G3.
    limited = {**setting, "low_interval_limits": "usual"}
    assert pitches("D3 G3 C4 F4 A4") in [
        r.voicing.midi_notes for r in voicings("Dm11", limited).voicings
    ]


# --- trade facts ---------------------------------------------------------------------------------


def name(pitch_class_: int) -> str:
    """A root."""
    return ROOTS[pitch_class_ % 12]


def degrees(path_step: object) -> list[str]:
    """Degrees low to high."""
    return [note.degree for note in path_step.voicing.notes]  # type: ignore[attr-defined]


@each_row("root", ROOTS)
def test_a_falling_fifth_changes_the_form_and_holds_the_root(root: str) -> None:
    """TRADE: 3 7 | 1 5 to 7 3 | 5 1 and back; each voice stays or falls by at most a whole step."""
    text = f"| {root}7 | {name(pitch_class(root) + 5)}7 |"
    path = solve(text, {"families": ["guide-tone"], "pricing": "none"})
    first, second = path.steps
    assert {first.voicing.form, second.voicing.form} == {"A", "B"}
    for step in path.steps:
        shapes = {"A": ["3", "b7", "1", "5"], "B": ["b7", "3", "5", "1"]}
        assert degrees(step) == shapes[step.voicing.form]
        assert (len(step.voicing.left), len(step.voicing.right)) == (2, 2)
    assert path.motion == 4
    assert {move.semitones for move in second.moves} <= {0, -1, -2}
    held = next(move for move in second.moves if move.from_degree == "1")
    assert (held.semitones, held.to_degree) == (0, "5")


@each_row("root", ROOTS)
def test_a_root_falling_a_whole_step_keeps_the_form(root: str) -> None:
    """TRADE: everything down a step, eight in all."""
    path = solve(
        f"| {root}7 | {name(pitch_class(root) - 2)}7 |",
        {"families": ["guide-tone"], "pricing": "none"},
    )
    first, second = path.steps
    assert first.voicing.form == second.voicing.form
    assert [move.semitones for move in second.moves] == [-2, -2, -2, -2]
    assert path.motion == 8


FIVE = {"A": ["3", "b7", "9", "5", "1"], "B": ["b7", "3", "13", "9", "5"]}
SIX = {"A": ["3", "b7", "9", "13", "9", "5"], "B": ["b7", "3", "13", "3", "13", "9"]}


@each_row("root", ROOTS)
@each_row(
    "family, shapes, roles",
    [
        ("guide-tone-extended", FIVE, {("9", "13"), ("5", "9"), ("1", "5")}),
        ("guide-tone-full", SIX, {("9", "13"), ("13", "3"), ("5", "9")}),
    ],
)
def test_with_tensions_only_the_guide_tones_move(
    root: str, family: str, shapes: dict[str, list[str]], roles: set[tuple[str, str]]
) -> None:
    """TRADE: a falling fifth from form A to form B costs two half steps."""
    text = f"| {root}7 | {name(pitch_class(root) + 5)}7 |"
    pins = [{"step": 0, "form": "A"}]
    setting = {"families": [family], "highest": "G6", "pricing": "none"}
    path = solve(text, setting, pins=pins)
    first, second = path.steps
    assert (degrees(first), degrees(second)) == (shapes["A"], shapes["B"])
    assert path.motion == 2
    moved = {(m.from_degree, m.to_degree) for m in second.moves if m.semitones}
    assert moved == {("3", "b7"), ("b7", "3")}
    held = {(m.from_degree, m.to_degree) for m in second.moves if not m.semitones}
    assert held == roles


@each_row("root", ROOTS)
@each_row(
    "family, wanted",
    [("guide-tone-full", ["13", "9", "5"]), ("guide-tone-extended", ["13", "9", "5"])],
)
def test_right_hands_are_stacks_of_perfect_fourths(
    root: str, family: str, wanted: list[str]
) -> None:
    """TRADE: 13 9 5 over 3 7 9 (form A of six) and over 7 3 (form B of five)."""
    setting = {"families": [family], "highest": "G6"}
    found = [
        ranked.voicing.right
        for ranked in voicings(f"{root}13", setting).voicings
        if [note.degree for note in ranked.voicing.right] == wanted
    ]
    assert found
    for hand in found:
        assert [b.midi - a.midi for a, b in pairwise(hand)] == [5, 5]


def test_a_c7_in_form_a_is_the_textbook_hand() -> None:
    """TRADE: E Bb | C G and Bb E | G C."""
    found = {
        r.voicing.midi_notes: r.voicing.form
        for r in voicings("C7", {"families": ["guide-tone"]}).voicings
    }
    assert found[pitches("E3 Bb3 C4 G4")] == "A"
    assert found[pitches("Bb3 E4 G4 C5")] == "B"
    assert pitch("C4") == 60
