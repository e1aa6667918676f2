"""The tables of qualities: complete, of one piece, and as the whole-step rule has them."""

from __future__ import annotations

from pathlib import Path

from shortway.core.symbols.grammar import read_suffix
from shortway.core.theory.pitch import DEGREES
from shortway.core.theory.qualities import (
    CHORD_TYPES,
    NO_CHORD,
    ROWS,
    Quality,
    chord_type_of,
)
from shortway.core.theory.quality_names import canonical_suffix
from support.tables import each_row

TABLE = Path(__file__).parents[2] / "data" / "suffixes.tsv"
QUALITIES = sorted(
    {
        read_suffix("" if line[0] == "." else line.split("\t")[0])
        for line in TABLE.read_text("utf-8").splitlines()
        if not line.startswith("# ")
    },
    key=lambda quality: quality.suffix,
)


@each_row("chord_type", CHORD_TYPES)
def test_colours_are_tensions_and_all_are_degrees(chord_type: str) -> None:
    row = ROWS[chord_type]
    assert set(row.colours) <= set(row.tensions)
    assert {*row.tensions, *row.chromatic, *row.scale} <= set(DEGREES)


def test_every_sort_occurs() -> None:
    assert {quality.chord_type for quality in QUALITIES} | {NO_CHORD.chord_type} == set(CHORD_TYPES)


@each_row(
    "suffix, chord_type",
    [
        ("5", "power"), ("", "major"), ("add9", "major"), ("(b5)", "major"), ("m", "minor"),
        ("m#5", "minor"), ("+", "augmented"), ("dim", "diminished"), ("sus4", "suspended"),
        ("sus2", "suspended"), ("maj7sus4", "suspended"), ("6sus4", "suspended"),
        ("6", "major-sixth"), ("6/9", "major-sixth"), ("m6", "minor-sixth"),
        ("maj7", "major-seventh"), ("maj7b5", "major-seventh"),
        ("maj7#5", "augmented-major-seventh"), ("m7", "minor-seventh"),
        ("m7#5", "minor-seventh"), ("m(maj7)", "minor-major-seventh"), ("7", "dominant"),
        ("7b5#5", "dominant"), ("7#5", "dominant"), ("11", "dominant"), ("7(no3)", "dominant"),
        ("7alt", "dominant"), ("7sus4", "dominant-suspended"), ("7sus2", "dominant-suspended"),
        ("13sus4b9", "dominant-suspended"), ("m7b5", "half-diminished"),
        ("m11b5", "half-diminished"), ("dim7", "diminished-seventh"),
        ("dim(maj7)", "diminished-seventh"), ("dim7(maj7)", "diminished-seventh"),
    ],
)  # fmt: skip
def test_sort(suffix: str, chord_type: str) -> None:
    assert chord_type_of(read_suffix(suffix).degrees) == chord_type


@each_row(
    "suffix, tensions, colours, avoid",
    [
        ("", "6 9 #11", "9 6", "11"),
        ("m", "6 9 11", "9 11", "b9 b13"),
        ("6", "7 9 #11", "9", "11"),
        ("6/9", "7 #11", "", "11"),
        ("maj7", "9 #11 13", "9 13", "11"),
        ("maj7#11", "9 13", "9 13", ""),
        ("maj7#5", "9 #11", "9", "13"),
        ("m7", "9 11 13", "9 11", "b9 b13"),
        ("m7b5", "9 11 b13", "11", "b9"),
        ("dim7", "7 9 11 b13", "9 11", ""),
        ("m(maj7)", "9 11 13", "9 13", ""),
        ("7", "b9 9 #9 #11 b13 13", "9 13", "11"),
        ("7b9", "#11 b13 13", "", "11"),
        ("7b13", "b9 9 #9 #11", "9", "11"),
        ("7#5", "b9 9 #9 #11", "9", "11 13"),
        ("13", "", "", ""),
        ("13#11", "", "", ""),
        ("7alt", "", "", ""),
        ("7sus4", "b9 9 #9 b13 13", "9 13", ""),
        ("7sus4b9", "b13 13", "", ""),
        ("sus2", "6", "", ""),
    ],
)
def test_tensions(suffix: str, tensions: str, colours: str, avoid: str) -> None:
    """Nettles, *Berklee Harmony 3*: whole steps above chord tones; colours are common practice."""
    quality = read_suffix(suffix)
    expected = tuple(tuple(text.split()) for text in (tensions, colours, avoid))
    assert (quality.tensions, quality.colours, quality.avoid) == expected


@each_row(
    "quality",
    QUALITIES,
)
def test_nothing_is_a_tension_twice_or_against_the_chord(quality: Quality) -> None:
    inside = {DEGREES[d] for d in quality.degrees}
    assert inside.isdisjoint(DEGREES[d] for d in quality.tensions)
    assert set(quality.colours) <= set(quality.tensions)
    numbers = [
        d.strip("b#") for d in (*quality.degrees, *quality.colours) if int(d.strip("b#")) > 7
    ]
    written_twice = len([d for d in quality.degrees if d.endswith("9")]) > 1
    assert len(numbers) == len(set(numbers)) or written_twice
    if not {"b9", "#9"}.isdisjoint(quality.degrees):
        assert "13" not in quality.colours
    if not {"6", "b13", "#5"}.isdisjoint(quality.degrees):
        assert "13" not in quality.colours


@each_row(
    "quality",
    QUALITIES,
)
def test_degrees_and_written_are_in_order(quality: Quality) -> None:
    assert quality.degrees[0] == "1"
    assert len(set(quality.degrees)) == len(quality.degrees)
    place = {"4": 3, "6": 6.5}
    start = 2 if quality.degrees[1] == "9" else 1
    ranks = [place.get(d, int(d.lstrip("b#"))) for d in quality.degrees[start:]]
    assert ranks == sorted(ranks)
    assert set(quality.written) <= set(quality.degrees)


def test_the_canonical_suffix_depends_on_the_content_alone() -> None:
    for quality in QUALITIES:
        assert canonical_suffix(quality.degrees, quality.written) == quality.suffix
        assert read_suffix(quality.suffix) == quality


def test_no_chord_has_nothing() -> None:
    assert (NO_CHORD.suffix, NO_CHORD.harte, NO_CHORD.musicxml) == ("N.C.", "N", ("none", ()))
    assert (NO_CHORD.guide_tones, NO_CHORD.tensions, NO_CHORD.avoid) == ((), (), ())
