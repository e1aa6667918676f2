"""MusicXML documents made ready to be engraved: systems, and what Verovio would print twice.

Knows MusicXML elements and widths; no engraver.
"""

from collections import Counter
from collections.abc import Callable
from typing import Final
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

from shortway.scores.notation.systems import measure_width, system_begins
from shortway.scores.pictures.engraving.verovio_engraving import EngravingError

#: The MusicXML to engrave in systems so many staff spaces wide.
Document = Callable[[float], str]

_ROOTS: Final = ("score-partwise", "score-timewise")


def given_document(musicxml: bytes) -> Document:
    """A document as it is, but for its systems and headings.

    Without the degrees that are not to be printed, since Verovio prints them.

    Raises EngravingError if it is not a score.
    """
    root = ElementTree.fromstring(musicxml)
    if root.tag not in _ROOTS:
        raise EngravingError(f"a MusicXML score begins with {' or '.join(_ROOTS)}")
    for harmony in root.iter("harmony"):
        for degree in harmony.findall("degree[@print-object='no']"):
            harmony.remove(degree)
    for measure in root.iter("measure"):
        for given in measure.findall("print"):
            measure.remove(given)
    columns = list(zip(*(part.findall("measure") for part in root.findall("part")), strict=False))
    widths = [_width(column) for column in columns]
    forced = {place for place, column in enumerate(columns) if any(map(_begins, column))}
    pickup = bool(columns) and columns[0][0].get("implicit") == "yes"

    def write(room: float) -> str:
        begins = system_begins(widths, forced, room, pickup=pickup) if columns else ()
        for place, (first, *_) in enumerate(columns):
            for given in first.findall("print"):
                first.remove(given)
            if place and place in begins:
                first.insert(0, Element("print", {"new-system": "yes"}))
        return ElementTree.tostring(root, encoding="unicode")

    return write


def _begins(measure: Element) -> bool:
    """Whether a section or a repeat begins with a measure."""
    return (
        measure.find("direction/direction-type/rehearsal") is not None
        or measure.find("barline/repeat[@direction='forward']") is not None
    )


def _width(column: tuple[Element, ...]) -> float:
    """The width of a measure in all parts."""
    chords = max(max(_chords(measure).values(), default=0) for measure in column)
    return max(measure_width(chords, _texts(measure)) for measure in column)


def _chords(measure: Element) -> Counter[str]:
    """How many chords each voice has."""
    return Counter(
        note.findtext("voice", "1")
        for note in measure.findall("note")
        if note.find("chord") is None
    )


def _texts(measure: Element) -> list[str]:
    """The texts of the chord symbols, or the syllables if there are more of these."""
    symbols = [
        harmony.findtext("root/root-step", "") + (kind.get("text") or "m7")
        for harmony in measure.findall("harmony")
        if (kind := harmony.find("kind")) is not None
    ]
    syllables = [
        lyric.findtext("text", "")
        for lyric in measure.findall("note/lyric")
        if lyric.get("number", "1") == "1"
    ]
    return max(symbols, syllables, key=lambda words: sum(map(len, words)))
