"""Harte labels read as chords.

Syntax: Harte, Sandler, Abdallah and Gómez, "Symbolic representation of musical chords", ISMIR 2005,
section 4; its examples are from memory.
"""

from __future__ import annotations

import pytest

from core.symbols.test_parser import SUFFIXES
from shortway.core.errors import SymbolError
from shortway.core.symbols.parser import parse
from support.tables import each_row


@each_row(
    "label, name",
    [
        ("C:maj", "C"), ("Bb:min7/b3", "Bbm7/Db"), ("G:7(b9,*5)", "G7b9(no5)"),
        ("C:(1,b3,5)", "Cm"), ("C:(3,5)", "C"), ("A:(3,5,b7)/b7", "A7/G"),
        ("D:sus4(b7)", "D7sus4"),
        ("F#:hdim7/b5", "F#m7b5/C"), ("C:min(*b3)", "C5"), ("C:sus2", "Csus2"), ("C:5", "C5"),
        ("C:(1,2,5)", "Csus2"), ("C:(1,4,5)", "Csus4"), ("C:maj(4)", "Cadd11"),
        ("C:7(6)", "C7(add13)"),
        ("C:maj6(9)", "C6/9"), ("C:dim7", "Cdim7"), ("C:aug7", "C7#5"), ("C:13(*11)", "C13(no11)"),
        ("Fb:dim7/bb7", "Fbdim7/Db"), ("C:maj/1", "C"), ("Bb:maj/2", "Bb/C"), ("Bbb:9", "Bbbdom9"),
        ("N", "N.C."), ("X", "N.C."),
        # stand-ins of research corpora: the half-diminished seventh
        ("C%7", "Cm7b5"), ("Ab%", "Abm7b5"), ("F#%7/E", "F#m7b5/E"),
    ],
)  # fmt: skip
def test_labels(label: str, name: str) -> None:
    assert parse(label).name == name


@each_row("suffix", SUFFIXES)
def test_every_label_that_is_written_reads_back(suffix: str) -> None:
    """A label holds the degrees; which of them the symbol wrote is not in it."""
    for text in (f"Eb{suffix}", f"Eb{suffix}/Gb"):
        chord = parse(text)
        again = parse(chord.harte)
        assert (again.degrees, again.root, again.bass) == (chord.degrees, chord.root, chord.bass)
        assert parse(again.name) == again


@each_row(
    "label, position",
    [
        ("C:", 2), ("C:foo", 2), ("C:Maj7", 2), ("C:maj77", 2), ("C:7(b9", 6), ("C:7(b9,", 7),
        ("C:7(b14)", 4), ("C:7()", 4), ("C:7(b9;5)", 6), ("C:7(bb9)", 4), ("C:7(*b9)", 5),
        ("C:7(*1)", 5), ("C:7(9)x", 6), ("C:7/", 4), ("C:7/G", 4), ("C:7/b", 4), ("C:1", 2),
        ("C:7(b3)", 2), ("C:7(b5)", 2), ("C::7", 2), ("Nm", 0), ("Xm7", 0), ("n", 0),
    ],
)  # fmt: skip
def test_labels_that_cannot_be_read(label: str, position: int) -> None:
    with pytest.raises(SymbolError) as caught:
        parse(label)
    assert caught.value.faults[0].position == position
    assert caught.value.faults[0].expected


def test_no_stand_in_is_ever_written() -> None:
    for suffix in SUFFIXES:
        assert not {*"^%h"} & {*parse("C" + suffix).name}
