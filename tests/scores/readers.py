"""Scores read by others: the schema of MusicXML 4.0, music21, Verovio."""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import musicxml
import xmlschema

#: What a hand plays: onset and length in quarter notes, and a name such as Eb4.
Sounded = set[tuple[Fraction, Fraction, str]]


@cache
def schema() -> xmlschema.XMLSchema:
    """MusicXML 4.0's own, as the PyPI package musicxml carries it; nothing is fetched."""
    own = Path(xmlschema.__file__).parent / "schemas"
    return xmlschema.XMLSchema(
        str(Path(musicxml.__file__).parent / "generate_classes" / "musicxml_4_0.xsd"),
        locations={
            "http://www.w3.org/XML/1998/namespace": str(own / "XML" / "xml.xsd"),
            "http://www.w3.org/1999/xlink": str(own / "XLINK" / "xlink.xsd"),
        },
        allow="local",
    )


def faults(score: bytes) -> list[str]:
    """What the schema finds wrong."""
    root = ElementTree.fromstring(score)
    return [f"{error.path}: {error.reason}" for error in schema().iter_errors(root)]


def read_by_music21(score: bytes) -> Any:
    """The score as music21 reads it."""
    from music21 import converter

    return converter.parse(score.decode(), format="musicxml")


def sounded(part: Any) -> Sounded:
    """What a music21 part plays, ties joined."""
    found: Sounded = set()
    open_at: dict[str, tuple[Fraction, Fraction]] = {}
    for element in part.flatten().notes:
        if "ChordSymbol" in element.classes or "NoChord" in element.classes:
            continue
        notes = element.notes if element.isChord else [element]
        onset = Fraction(element.offset).limit_denominator(10000)
        length = Fraction(element.duration.quarterLength).limit_denominator(10000)
        for note in notes:
            name = note.pitch.nameWithOctave.replace("-", "b")
            kind = note.tie.type if note.tie else None
            if kind in ("stop", "continue"):
                begin, end = open_at.pop(name)
                assert abs(end - onset) < Fraction(1, 5000), name
            else:
                begin = onset
            if kind in ("start", "continue"):
                open_at[name] = (begin, onset + length)
            else:
                found.add((begin, onset + length - begin, name))
    assert not open_at, "a tie leads nowhere"
    return found


def laid_out_by_verovio(score: bytes) -> None:
    """Let Verovio lay the whole score out; what it warns of goes to standard error."""
    import verovio

    verovio.enableLog(verovio.LOG_WARNING)
    toolkit = verovio.toolkit()
    assert toolkit.loadData(score.decode())
    for page in range(toolkit.getPageCount()):
        assert toolkit.renderToSVG(page + 1).startswith("<svg")
