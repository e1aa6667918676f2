"""One ``harmony`` element as a chord.

Knows XML elements and the core's symbols. Root, bass, kind, degrees and inversion come from the
elements; the ``text`` of a kind, which is what is printed, only chooses among spellings of the
chord that the elements say, and stands for a kind ``other`` that has no degrees at all.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, Literal, cast
from xml.etree.ElementTree import Element

from shortway.core.errors import SymbolError
from shortway.core.symbols import parser as symbols
from shortway.core.theory.chord import Chord
from shortway.core.theory.notations import KindDegree
from shortway.core.theory.pitch import spell
from shortway.core.theory.quality_names import Degrees
from shortway.scores.leadsheet.document.xml_values import child_integer, child_text
from shortway.scores.leadsheet.kinds import (
    WITHOUT_NOTES,
    apply_degrees,
    degrees_of_kind,
    suffix_of_degrees,
)
from shortway.scores.leadsheet.line_of_fifths import (
    KeySignature,
    Transposition,
    fifths_to_note,
    note_to_fifths,
)

NO_CHORD: Final = symbols.parse("N.C.")

_TYPES: Final = ("add", "alter", "subtract")
_SEVERAL: Final = ("root", "numeral", "function")
_EXPECTED: Final = "a root with a kind of the MusicXML 4.0 list, and degrees"


def read_harmony(harmony: Element, key: KeySignature | None, by: Transposition) -> Chord:
    """The chord that sounds; `key` is the written one, which numerals count from.

    Raises
    ------
    SymbolError
        If it says no chord, or one that no symbol says.
    """
    if sum(child.tag in _SEVERAL for child in harmony) > 1:
        raise _error("two chords are stacked in one harmony", "one root, or a bass under it")
    kind = child_text(harmony, "kind")
    if kind == "none":
        return NO_CHORD
    root = fifths_to_note(_root(harmony, key) + by.fifths)
    degrees = _degrees(harmony, kind, root)
    bass = _bass(harmony, by) or _inverted(harmony, root, degrees)
    return _chord(root, degrees, None if bass == root else bass, _printed(harmony))


def _error(detail: str, expected: str = _EXPECTED) -> SymbolError:
    return SymbolError.at("", detail, expected=expected)


def _printed(harmony: Element) -> str | None:
    found = harmony.find("kind")
    return None if found is None else found.get("text")


def _root(harmony: Element, key: KeySignature | None) -> int:
    """The written root's place on the line of fifths."""
    root, numeral = harmony.find("root"), harmony.find("numeral")
    if root is not None:
        return _note(root, "root")
    if numeral is None:
        what = "a function without a root" if harmony.find("function") is not None else "no root"
        raise _error(f"the harmony has {what}")
    given = numeral.find("numeral-key")
    if given is not None:
        key = KeySignature(
            child_integer(given, "numeral-fifths", -14, 14),
            child_text(given, "numeral-mode") or "major",
        )
    if key is None:
        raise _error("a numeral needs a key", "a key, or a numeral-key")
    degree = child_integer(numeral, "numeral-root", 1, 7)
    return key.degree(degree) + 7 * child_integer(numeral, "numeral-alter", -2, 2, 0)


def _note(parent: Element, what: str) -> int:
    step = child_text(parent, f"{what}-step")
    if len(step) != 1 or step not in "ABCDEFG":
        raise _error(f"cannot read the {what} {step[:20]!r}", "a letter A to G")
    return note_to_fifths(step, child_integer(parent, f"{what}-alter", -2, 2, 0))


def _degrees(harmony: Element, kind: str, root: str) -> Degrees:
    """All degrees of the chord."""
    children = list(_children(harmony))
    tones = degrees_of_kind(kind)
    if tones is None:
        raise _kindless(kind, root)
    if kind == "other" and not children:
        return _as_printed(harmony, root)
    return apply_degrees(tones, children)


def _children(harmony: Element) -> Iterator[KindDegree]:
    """The ``degree`` children; one that holds several, as some programs write, is several."""
    for degree in harmony.findall("degree"):
        parts: list[Element] = []
        for child in degree:
            parts.append(child)
            if child.tag == "degree-type":
                yield _child(parts)
                parts = []


def _child(parts: Sequence[Element]) -> KindDegree:
    degree = Element("degree")
    degree.extend(parts)
    type_ = child_text(degree, "degree-type")
    if type_ not in _TYPES:
        raise _error(f"cannot read the degree type {type_[:20]!r}", "add, alter or subtract")
    value, alter = (
        child_integer(degree, "degree-value", 1, 15),
        child_integer(degree, "degree-alter", -3, 3, 0),
    )
    return KindDegree(value, alter, cast(Literal["add", "alter", "subtract"], type_))


def _kindless(kind: str, root: str) -> SymbolError:
    if kind.lower() in WITHOUT_NOTES:
        return _error(f"{root} {kind}: MusicXML defines no notes for this kind")
    if not kind:
        return _error(f"the harmony on {root} has no kind")
    return _error(f"cannot read the kind {kind[:40]!r}")


def _as_printed(harmony: Element, root: str) -> Degrees:
    """The degrees of a kind ``other`` without any, from what is printed beside the root."""
    printed = _printed(harmony) or ""
    try:
        chord = symbols.parse(root + printed)
    except SymbolError as error:
        detail = f"a kind other without degrees, printed {printed[:40]!r}, on {root}"
        raise _error(f"{detail}: {error.detail}", "its degrees, each added") from None
    if chord.root != root or chord.bass or not printed:
        raise _error(f"a kind other without degrees on {root}", "its degrees, each added")
    return chord.content.degrees


def _bass(harmony: Element, by: Transposition) -> str | None:
    bass = harmony.find("bass")
    return None if bass is None else fifths_to_note(_note(bass, "bass") + by.fifths)


def _inverted(harmony: Element, root: str, degrees: Degrees) -> str | None:
    """The bass of an inversion: the tone of the chord with that index."""
    number = child_integer(harmony, "inversion", 0, 12, 0)
    if number >= len(degrees):
        raise _error(f"a chord of {len(degrees)} notes has no inversion {number}")
    return spell(root, degrees[number]) if number else None


def _chord(root: str, degrees: Degrees, bass: str | None, printed: str | None) -> Chord:
    """The chord, spelled as printed if that says the same, else canonically."""
    after = f"/{bass}" if bass else ""
    for suffix in (printed, suffix_of_degrees(degrees)):
        if suffix is None:
            continue
        chord = _parsed(root + suffix + after)
        if chord and (chord.root, chord.bass, chord.content.degrees) == (root, bass, degrees):
            return chord
    suffix = suffix_of_degrees(degrees)
    if suffix is None:
        tones = " ".join(spell(root, degree) for degree in degrees)
        raise _error(f"no chord symbol has exactly {tones}", "a chord with a symbol")
    plain = symbols.parse("C" + suffix)
    return symbols.parse(Chord("", root, bass, plain.content).name)


def _parsed(symbol: str) -> Chord | None:
    try:
        return symbols.parse(symbol)
    except SymbolError:
        return None
