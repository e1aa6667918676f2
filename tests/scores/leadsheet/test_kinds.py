"""Harmony elements as chords: MusicXML 4.0's own table, its degrees, and every quality back."""

from __future__ import annotations

import pytest

from shortway.core.errors import ShortwayError, SymbolError
from shortway.core.symbols import parser as symbols
from shortway.core.theory.chord import Chord
from shortway.core.theory.notations import musicxml_kind
from shortway.core.theory.pitch import DEGREES
from shortway.scores.leadsheet.kinds import apply_degrees, degrees_of_kind, suffix_of_degrees
from shortway.services.read_chart import read_lead_sheet
from support.sheets import harmony, measures, note, score
from support.suffixes import QUALITIES
from support.tables import each_row

# Kinds with the semitones above the root. Source: W3C Music Notation Community Group, MusicXML
# 4.0, data type kind-value; semitones follow from its interval names.
KINDS = {
    "major": (0, 4, 7), "minor": (0, 3, 7), "augmented": (0, 4, 8), "diminished": (0, 3, 6),
    "dominant": (0, 4, 7, 10), "major-seventh": (0, 4, 7, 11), "minor-seventh": (0, 3, 7, 10),
    "diminished-seventh": (0, 3, 6, 9), "augmented-seventh": (0, 4, 8, 10),
    "half-diminished": (0, 3, 6, 10), "major-minor": (0, 3, 7, 11), "major-sixth": (0, 4, 7, 9),
    "minor-sixth": (0, 3, 7, 9), "dominant-ninth": (0, 4, 7, 10, 14),
    "major-ninth": (0, 4, 7, 11, 14), "minor-ninth": (0, 3, 7, 10, 14),
    "dominant-11th": (0, 4, 7, 10, 14, 17), "major-11th": (0, 4, 7, 11, 14, 17),
    "minor-11th": (0, 3, 7, 10, 14, 17), "dominant-13th": (0, 4, 7, 10, 14, 17, 21),
    "major-13th": (0, 4, 7, 11, 14, 17, 21), "minor-13th": (0, 3, 7, 10, 14, 17, 21),
    "suspended-second": (0, 2, 7), "suspended-fourth": (0, 5, 7), "power": (0, 7),
}  # fmt: skip
WITHOUT_NOTES = ("pedal", "Neapolitan", "Italian", "French", "German", "Tristan")


def read(xml: str) -> Chord:
    text = score(measures(xml + note("C5", 16)))
    return read_lead_sheet(text.encode(), "musicxml").chart.measures[0][0].chord


def classes(chord: Chord) -> list[int]:
    return sorted({tone.pitch_class for tone in chord.tones})


@each_row("root", ["C", "Eb", "F#", "Bbb"])
@each_row("kind", KINDS)
def test_a_kind_has_the_notes_of_the_standard(kind: str, root: str) -> None:
    at = symbols.parse(root).root_pc
    assert at is not None
    chord = read(harmony(root, kind))
    assert chord.root == root
    assert classes(chord) == sorted({(at + semitones) % 12 for semitones in KINDS[kind]})


@pytest.mark.parametrize("kind", WITHOUT_NOTES)
def test_a_kind_without_notes_is_refused_with_its_place(kind: str) -> None:
    with pytest.raises(
        SymbolError, match=r"measure 1 of part P1 \(Part P1\): C .*defines no notes"
    ):
        read(harmony("C", kind))


# What degrees make of a kind on C. Source: MusicXML 4.0, degree-alter and degree-type, and the
# example of 7sus4; semitones follow from them.
DEGREES_MADE = [
    (harmony("C", "major", (7, 0, "add")), (0, 4, 7, 10)),
    (harmony("C", "major", (7, 1, "add")), (0, 4, 7, 11)),
    (harmony("C", "dominant", (9, -1, "add")), (0, 1, 4, 7, 10)),
    (harmony("C", "dominant", (11, 1, "add")), (0, 4, 6, 7, 10)),
    (harmony("C", "dominant", (13, -1, "add")), (0, 4, 7, 8, 10)),
    (harmony("C", "minor-seventh", (5, -1, "alter")), (0, 3, 6, 10)),
    (harmony("C", "major-seventh", (5, 1, "alter")), (0, 4, 8, 11)),
    (harmony("C", "dominant-13th", (11, 0, "subtract")), (0, 2, 4, 7, 9, 10)),
    (harmony("C", "suspended-fourth", (7, 0, "add")), (0, 5, 7, 10)),
    (harmony("C", "dominant", (3, 0, "subtract"), (4, 0, "add")), (0, 5, 7, 10)),
    (harmony("C", "major", (3, 0, "subtract"), (2, 0, "add")), (0, 2, 7)),
    (harmony("C", "major-sixth", (9, 0, "add")), (0, 2, 4, 7, 9)),
    (harmony("C", "dominant", (9, -1, "add"), (9, 1, "add")), (0, 1, 3, 4, 7, 10)),
    (harmony("C", "other", (3, 0, "add"), (5, 1, "add"), (7, 0, "add")), (0, 4, 8, 10)),
]


@each_row("xml, semitones", DEGREES_MADE)
def test_degrees_count_from_a_dominant_or_from_the_kind(
    xml: str, semitones: tuple[int, ...]
) -> None:
    assert classes(read(xml)) == list(semitones)


def test_every_quality_comes_back_from_its_kind_and_degrees() -> None:
    assert len(QUALITIES) == 159
    for quality in QUALITIES:
        kind, children = musicxml_kind(quality.degrees)
        tones = degrees_of_kind(kind)
        assert tones is not None
        assert apply_degrees(tones, children) == quality.degrees
        suffix = suffix_of_degrees(quality.degrees)
        assert suffix is not None
        assert symbols.parse("C" + suffix).content.degrees == quality.degrees


def test_what_is_printed_chooses_among_spellings_only() -> None:
    assert read(harmony("D", "minor-seventh", text="-7")).symbol == "D-7"
    assert read(harmony("D", "minor-seventh", text="7")).symbol == "Dm7"
    assert read(harmony("C", "dominant-13th", text="9(11,13)")).content.written == ("9", "11", "13")
    assert read(harmony("C", "power", text="b5")).symbol == "C5"


def test_a_kind_other_without_degrees_is_what_is_printed() -> None:
    assert read(harmony("Ab", "other", text="7alt")) == symbols.parse("Ab7alt")
    with pytest.raises(SymbolError, match="a kind other without degrees"):
        read(harmony("Ab", "other", text="wild"))
    with pytest.raises(SymbolError, match="a kind other without degrees"):
        read(harmony("Ab", "other"))


def test_bass_and_inversion() -> None:
    assert read(harmony("C", "dominant", bass="Bb")).name == "C7/Bb"
    assert read(harmony("C", "dominant", bass="F#")).name == "C7/F#"
    assert read(harmony("C", "minor-seventh", more="<inversion>1</inversion>")).name == "Cm7/Eb"
    assert read(harmony("C", "dominant", more="<inversion>3</inversion>")).name == "C7/Bb"
    assert read(harmony("C", more="<inversion>0</inversion>")).name == "C"
    with pytest.raises(SymbolError, match="no inversion 3"):
        read(harmony("C", more="<inversion>3</inversion>"))


def test_numerals_count_from_the_key() -> None:
    """MusicXML 4.0, numeral-mode: natural minor unless it says harmonic or melodic."""

    def numeral(degree: int, kind: str, fifths: int, mode: str) -> Chord:
        key = f"<numeral-key><numeral-fifths>{fifths}</numeral-fifths>"
        key += f"<numeral-mode>{mode}</numeral-mode></numeral-key>"
        root = f"<numeral><numeral-root>{degree}</numeral-root>{key}</numeral>"
        return read(f"<harmony>{root}<kind>{kind}</kind></harmony>")

    assert numeral(2, "minor-seventh", -3, "major").name == "Fm7"
    assert numeral(7, "major", -3, "minor").name == "Bb"
    assert numeral(7, "diminished-seventh", -3, "harmonic minor").name == "Bdim7"
    assert numeral(6, "half-diminished", 0, "melodic minor").name == "F#m7b5"


BAD = [
    ("<harmony><kind>major</kind></harmony>", "no root"),
    ("<harmony><function>V</function><kind>dominant</kind></harmony>", "function without a root"),
    ("<harmony><numeral><numeral-root>5</numeral-root></numeral><kind>major</kind></harmony>",
     "needs a key"),
    ("<harmony><root><root-step>H</root-step></root><kind>major</kind></harmony>",
     "cannot read the root"),
    ("<harmony><root><root-step>C</root-step></root></harmony>", "has no kind"),
    (harmony("C", "wonderful"), "cannot read the kind 'wonderful'"),
    (harmony("C", "major", (3, 0, "widen")), "type 'widen'"),
    (harmony("C", "major", (99, 0, "add")), "degree-value 99"),
    (harmony("C", "major", (5, 1, "add")), "no chord symbol has exactly C E G G#"),
    (harmony("C", "major", (1, 0, "subtract")), "no chord symbol has exactly"),
    ("<harmony><root><root-step>C</root-step></root><kind>major</kind>"
     "<root><root-step>D</root-step></root><kind>major</kind></harmony>", "stacked"),
    ("<harmony><root><root-step>C</root-step><root-alter>x</root-alter></root>"
     "<kind>major</kind></harmony>", "root-alter 'x'"),
]  # fmt: skip


@each_row("xml, said", BAD)
def test_what_no_chord_is_read_from_is_refused_with_its_place(xml: str, said: str) -> None:
    with pytest.raises(ShortwayError, match=said) as caught:
        read(xml)
    assert "measure 1 of part P1" in caught.value.detail
    assert caught.value.faults[0].expected


def test_degree_names_are_the_cores() -> None:
    for kind in KINDS:
        tones = degrees_of_kind(kind)
        assert tones is not None
        assert set(tones) <= set(DEGREES)
