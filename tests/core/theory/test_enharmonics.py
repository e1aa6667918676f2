"""The names that a player reads, against music21's pitches and against published practice.

- MUSIC21: `Pitch.simplifyEnharmonic` (music21 10), which knows nothing of chords.
- GOULD: *Behind Bars* (Faber, 2011), on the spelling of accidentals: no double accidentals and no
  E#, B#, Cb or Fb where the key does not ask for them, and triads in thirds (from memory).
"""

from __future__ import annotations

import re
from itertools import product

from music21.pitch import Pitch

from shortway.core.charts import parse_text_chart
from shortway.core.solver.solve import solve, voicings
from shortway.core.theory.enharmonics import practical_name, triad_names
from shortway.core.voicings.model import Note, Voicing
from shortway.core.voicings.spelling import practical_spelling
from shortway.scores.notation.model import build_score
from support.charts import ROOTS
from support.tables import each_row

NAMES = ["".join(name) for name in product("CDEFGAB", ("", "b", "#", "bb", "##"))]
HARD = re.compile(r"(E#|B#|Cb|Fb|[A-G](?:bb|##))-?\d")


def music21_pitch(name: str) -> Pitch:
    return Pitch(name.replace("b", "-"))


@each_row("name", NAMES)
def test_the_name_is_music21s_simplest(name: str) -> None:
    """MUSIC21: the same pitch in the same octave, and its own choice wherever ours differs."""
    for octave in (1, 4):
        ours, theirs = practical_name(f"{name}{octave}"), music21_pitch(f"{name}{octave}")
        assert music21_pitch(ours).ps == theirs.ps
        if ours != f"{name}{octave}":
            simple = theirs.simplifyEnharmonic().nameWithOctave.replace("-", "b")
            assert ours == simple


@each_row("root", ROOTS)
def test_the_raised_ninth_reads_plainly(root: str) -> None:
    """GOULD: of every dominant with #9, whatever its root."""
    listing = voicings(f"{root}7#9", {"families": ["rootless"], "hands": "left"})
    for ranked in listing.voicings:
        read = practical_spelling(ranked.voicing, listing.chord)
        assert read.midi_notes == ranked.voicing.midi_notes
        assert [n.degree for n in read.notes] == [n.degree for n in ranked.voicing.notes]
        assert not [n.note for n in read.notes if HARD.match(n.note) and n.degree != "b7"]


def test_what_the_symbol_or_the_signature_writes_stays() -> None:
    """GOULD: Cb7 is on Cb; Abm7 and Db7 have a Cb in thirds; the root of Fdim7 has no flat."""
    for key, text, expected in (
        (None, "| Cb7 |", "Cb"), ("Gb", "| Abm7 |", "Cb"), ("C", "| Abm7 |", "Cb"),
        ("C", "| G7#9 | Db7 |", "Cb"), ("F", "| Fdim7 |", "B"),
        ("Gb", "| Ebm7 | B7/D# |", "D#"),
    ):  # fmt: skip
        chart = parse_text_chart((f"key: {key}\n" if key else "") + text)
        music = build_score(chart, solve(chart, {"bass_player": False}))
        names = {n.note.rstrip("0123456789") for s in (*music.left, *music.right) for n in s.notes}
        assert expected in names, (text, names)


@each_row("names, expected", [
    (("Ab", "C", "D#"), "Ab C Eb"),  # over C7: b13, 1, #9
    (("F#", "Bb", "Db"), "Gb Bb Db"),  # over C7: #11, b7, b9
    (("D#", "G", "Bb"), "Eb G Bb"),  # over C7: #9, 5, b7
    (("F##", "B", "D"), "G B D"),  # over E7: #9, 5, b7
    (("A", "C#", "E"), "A C# E"),
    (("F#", "A", "Db"), "F# A C#"),  # over C7: #11, 13, b9
    (("Cb", "Eb", "Gb"), "B D# F#"),  # a plain root has no Cb
    (("C", "E", "Bb"), ""),
])  # fmt: skip
def test_a_triad_is_spelled_in_thirds(names: tuple[str, ...], expected: str) -> None:
    """GOULD; what the triads are over their chords is common practice, no source."""
    assert set(triad_names(names).values()) == set(expected.split())


def test_an_upper_structure_is_spelled_as_its_triad() -> None:
    """Ab over C7, right hand: b13, 1 and #9 are Ab C Eb, not Ab C D#."""
    chord = voicings("C7").chord
    left = (Note(52, "E3", "3"), Note(58, "Bb3", "b7"))
    right = (Note(63, "D#4", "#9"), Note(68, "Ab4", "b13"), Note(72, "C5", "1"))
    for family, expected in (("upper-structure", "Eb4"), ("guide-tone-colours", "D#4")):
        read = practical_spelling(Voicing(family, "A", left, right, (None, None)), chord)
        assert read.right[0].note == expected
