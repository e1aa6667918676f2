"""MusicXML ``harmony`` elements read as chords.

Root, bass, kind, degrees and inversion define the chord. The printed ``text`` of a kind only
chooses between spellings of that chord, except for a kind ``other`` without degrees, whose text
is the only definition.
"""

from typing import Final, Literal, cast
from xml.etree.ElementTree import Element

from shortway.core.errors import SymbolError
from shortway.core.symbols import parser as symbols
from shortway.core.theory.chord import Chord
from shortway.core.theory.notations import KindDegree
from shortway.core.theory.pitch import LETTERS, fifths_from_c, spell
from shortway.core.theory.quality_names import Degrees
from shortway.scores.leadsheet.document.xml_values import child_integer, child_text
from shortway.scores.leadsheet.kinds import (
    WITHOUT_NOTES,
    apply_degrees,
    degrees_of_kind,
    parse_or_none,
    suffix_of_degrees,
)
from shortway.scores.leadsheet.line_of_fifths import KeySignature, Transposition, fifths_to_note

NO_CHORD: Final = symbols.parse("N.C.")
_EXPECTED: Final = "a root with a kind of the MusicXML 4.0 list, and degrees"


def read_harmony(harmony: Element, key: KeySignature | None, by: Transposition) -> Chord:
    """The sounding chord; `key` is the written key, from which numerals count.

    Raises SymbolError if the element has no readable chord, or no chord symbol can name it.
    """
    if sum(child.tag in ("root", "numeral", "function") for child in harmony) > 1:
        raise _error("two chords are stacked in one harmony", "one root, or a bass under it")
    element = harmony.find("kind")
    kind, printed = child_text(harmony, "kind"), None if element is None else element.get("text")
    if kind == "none":
        return NO_CHORD
    root = fifths_to_note(_root(harmony, key) + by.fifths)
    degrees = _degrees(harmony, kind, printed or "", root)
    found = harmony.find("bass")
    if found is not None:
        bass: str | None = fifths_to_note(_note(found, "bass") + by.fifths)
    else:
        bass = _inverted_bass(harmony, root, degrees)
    return _chord(root, degrees, None if bass == root else bass, printed)


def _error(detail: str, expected: str = _EXPECTED) -> SymbolError:
    return SymbolError.at("", detail, expected=expected)


def _root(harmony: Element, key: KeySignature | None) -> int:
    """The written root on the line of fifths."""
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
    if len(step) != 1 or step not in LETTERS:
        raise _error(f"cannot read the {what} {step[:20]!r}", "a letter A to G")
    return fifths_from_c(step) + 7 * child_integer(parent, f"{what}-alter", -2, 2, 0)


def _degrees(harmony: Element, kind: str, printed: str, root: str) -> Degrees:
    children = _degree_children(harmony)
    tones = degrees_of_kind(kind)
    if tones is None:
        if kind.lower() in WITHOUT_NOTES:
            raise _error(f"{root} {kind}: MusicXML defines no notes for this kind")
        wrong = f"cannot read the kind {kind[:40]!r}"
        raise _error(wrong if kind else f"the harmony on {root} has no kind")
    if kind == "other" and not children:
        return _printed_degrees(root, printed)
    return apply_degrees(tones, children)


def _degree_children(harmony: Element) -> list[KindDegree]:
    """The ``degree`` children; some programs write several degrees into one element."""
    found = []
    for degree in harmony.findall("degree"):
        single = Element("degree")
        for child in degree:
            single.append(child)
            if child.tag == "degree-type":
                found.append(_degree_child(single))
                single = Element("degree")
    return found


def _degree_child(degree: Element) -> KindDegree:
    type_ = child_text(degree, "degree-type")
    if type_ not in ("add", "alter", "subtract"):
        raise _error(f"cannot read the degree type {type_[:20]!r}", "add, alter or subtract")
    value = child_integer(degree, "degree-value", 1, 15)
    alter = child_integer(degree, "degree-alter", -3, 3, 0)
    return KindDegree(value, alter, cast(Literal["add", "alter", "subtract"], type_))


def _printed_degrees(root: str, printed: str) -> Degrees:
    """The degrees of a kind ``other`` without degrees, from its printed suffix."""
    expected = "its degrees, each added"
    try:
        chord = symbols.parse(root + printed)
    except SymbolError as error:
        detail = f"a kind other without degrees, printed {printed[:40]!r}, on {root}"
        raise _error(f"{detail}: {error.detail}", expected) from None
    if chord.root != root or chord.bass or not printed:
        raise _error(f"a kind other without degrees on {root}", expected)
    return chord.content.degrees


def _inverted_bass(harmony: Element, root: str, degrees: Degrees) -> str | None:
    number = child_integer(harmony, "inversion", 0, 12, 0)
    if number >= len(degrees):
        raise _error(f"a chord of {len(degrees)} notes has no inversion {number}")
    return spell(root, degrees[number]) if number else None


def _chord(root: str, degrees: Degrees, bass: str | None, printed: str | None) -> Chord:
    """The chord: spelled as printed if the printed symbol means the same, else canonically."""
    canonical = suffix_of_degrees(degrees)
    for suffix in (printed, canonical):
        if suffix is not None:
            chord = parse_or_none(root + suffix + (f"/{bass}" if bass else ""))
            if chord and (chord.root, chord.bass, chord.content.degrees) == (root, bass, degrees):
                return chord
    if canonical is None:
        tones = " ".join(spell(root, degree) for degree in degrees)
        raise _error(f"no chord symbol has exactly {tones}", "a chord with a symbol")
    plain = symbols.parse("C" + canonical)
    return symbols.parse(Chord("", root, bass, plain.content).name)
