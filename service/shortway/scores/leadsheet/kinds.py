"""MusicXML kinds and degrees converted to the degrees and the suffix of a quality.

Knows no XML. MusicXML 4.0 (W3C reference: kind-value, degree-alter, degree-type): an ``add`` is
relative to a dominant chord, ``alter`` and ``subtract`` to the degree in the kind.
"""

from collections.abc import Sequence
from functools import lru_cache
from itertools import chain, combinations
from typing import Final

from shortway.core.errors import SymbolError
from shortway.core.symbols import parser as symbols
from shortway.core.theory.chord import Chord
from shortway.core.theory.notations import ALL_KINDS, KindDegree
from shortway.core.theory.pitch import DEGREES
from shortway.core.theory.quality_names import Degrees, canonical_suffix, degree_number

#: Nonstandard names that programs write for standard kinds.
ALIASES: Final = {
    "minor-major": "major-minor",
    "dominant-seventh": "dominant",
    "maj69": "major-sixth",
    "min69": "minor-sixth",
}
#: Kinds for which the standard defines no notes.
WITHOUT_NOTES: Final = ("pedal", "neapolitan", "italian", "french", "german", "tristan")

#: Degree numbers that chord symbols write in another octave.
_NUMBERS: Final = {2: 9, 12: 5, 14: 7}
_SIGNS: Final = {0: "", -1: "b", 1: "#", -2: "bb"}
_RESPELLED: Final = {"b6": "b13", "#4": "#11", "b10": "#9", "10": "3"}


def degrees_of_kind(kind: str) -> Degrees | None:
    """The degrees of a kind; ``other`` has its root alone. None for a kind without notes."""
    if kind == "other":
        return ("1",)
    return ALL_KINDS.get(ALIASES.get(kind, kind))


def apply_degrees(tones: Degrees, children: Sequence[KindDegree]) -> Degrees:
    """The degrees of a kind's `tones` and degree `children`, in the order of a quality.

    An ``alter`` of a degree that the kind lacks counts as an ``add``.

    Raises SymbolError if a degree has no name.

    >>> apply_degrees(("1", "4", "5"), [KindDegree(7, 0, "add")])
    ('1', '4', '5', 'b7')
    >>> apply_degrees(("1", "3", "5"), [KindDegree(2, 0, "add"), KindDegree(3, 0, "subtract")])
    ('1', '9', '5')
    """
    found = ["2" if d == "9" and i == 1 else d for i, d in enumerate(tones)]
    for child in sorted(children, key=lambda child: child.type == "add"):
        old = None if child.type == "add" else _same_number(found, child.value)
        if old is not None:
            found.remove(old)
            if child.type == "alter":
                number = degree_number(old)
                signs = DEGREES.get(old, 2) - DEGREES.get(str(number), 2)
                found.append(_degree_name(number, signs + child.alter))
        elif child.type != "subtract":
            _add(found, child)
    return _ordered(found)


def _same_number(found: Sequence[str], value: int) -> str | None:
    """The degree of `found` with the number `value`, if need be in another octave."""
    near = [d for d in found if (degree_number(d) - value) % 7 == 0]
    return next((d for d in near if degree_number(d) == value), near[0] if near else None)


def _add(found: list[str], child: KindDegree) -> None:
    degree = _degree_name(child.value, child.alter - (child.value in (7, 14)))
    if degree == "6" and any(degree_number(d) == 7 for d in found):
        degree = "13"
    if degree not in found:
        found.append(degree)


def _degree_name(value: int, signs: int) -> str:
    value = value if value == 2 and signs == 0 else _NUMBERS.get(value, value)
    degree = f"{_SIGNS.get(signs, '?')}{value}"
    degree = _RESPELLED.get(degree, degree)
    if degree not in DEGREES and degree != "2":
        detail = f"no chord has a degree {value} altered by {signs}"
        raise SymbolError.at("", detail, expected="a degree such as b9, #11 or 13")
    return degree


def _ordered(found: Sequence[str]) -> Degrees:
    """In a quality's order. A 4 beside a third becomes an 11; a 2 without one replaces it."""
    third = "b3" in found or "3" in found
    suspended = third or "4" in found
    names = {"4": "11" if third else "4", "2": "9"}
    renamed = {names.get(d, d) for d in found if d != "2" or suspended}
    ordered = sorted(renamed, key=lambda d: (degree_number(d), DEGREES[d]))
    if "2" in found and not suspended:
        ordered.insert(1, "9")
    return tuple(ordered)


@lru_cache(maxsize=1024)
def suffix_of_degrees(degrees: Degrees) -> str | None:
    """The shortest canonical suffix that reads back as `degrees`; None if there is none.

    >>> suffix_of_degrees(("1", "3", "5", "b7", "9", "11", "13"))
    '13'
    """
    if len(degrees) < 2 or degrees[0] != "1":
        return None
    upper = [d for d in degrees if degree_number(d) > 7 or d in ("b5", "#5")]
    suffixes = set()
    for written in chain.from_iterable(combinations(upper, n) for n in range(len(upper) + 1)):
        try:
            suffix = canonical_suffix(degrees, written)
        except ValueError:  # nothing implies what `written` omits
            continue
        chord = parse_or_none("C" + suffix)
        if chord and chord.content.degrees == degrees:
            suffixes.add(suffix)
    return min(suffixes, key=lambda suffix: (len(suffix), suffix), default=None)


def parse_or_none(symbol: str) -> Chord | None:
    """The chord of a symbol; None if it cannot be read."""
    try:
        return symbols.parse(symbol)
    except SymbolError:
        return None
