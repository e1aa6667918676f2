"""MusicXML kinds and degrees as a quality of ours, spelled so that the symbol reader reads it.

Knows the core and no XML. MusicXML 4.0 (W3C reference: kind-value, degree-alter, degree-type): an
``add`` counts from a dominant chord, ``alter`` and ``subtract`` from the degree in the kind.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import chain, combinations
from typing import Final

from shortway.core.errors import SymbolError
from shortway.core.symbols import parser as symbols
from shortway.core.theory.notations import ALL_KINDS, KindDegree
from shortway.core.theory.pitch import DEGREES
from shortway.core.theory.quality_names import Degrees, canonical_suffix, degree_number

#: Names that programs have written for kinds of the standard.
ALIASES: Final = {
    "minor-major": "major-minor",
    "dominant-seventh": "dominant",
    "maj69": "major-sixth",
    "min69": "minor-sixth",
}
#: Kinds to which the standard gives no notes.
WITHOUT_NOTES: Final = ("pedal", "neapolitan", "italian", "french", "german", "tristan")

#: A compound degree's number where chords have another.
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

    Raises
    ------
    SymbolError
        If a degree has no name.

    >>> apply_degrees(("1", "4", "5"), [KindDegree(7, 0, "add")])
    ('1', '4', '5', 'b7')
    >>> apply_degrees(("1", "3", "5"), [KindDegree(2, 0, "add"), KindDegree(3, 0, "subtract")])
    ('1', '9', '5')
    """
    found = ["2" if d == "9" and i == 1 else d for i, d in enumerate(tones)]
    for child in sorted(children, key=lambda child: child.type == "add"):
        {"add": _add, "alter": _alter, "subtract": _subtract}[child.type](found, child)
    return _ordered(found)


def _same(found: Iterable[str], value: int) -> list[str]:
    """Those of `found` that have the number `value`, whichever octave it is written in."""
    near = [d for d in found if (degree_number(d) - value) % 7 == 0]
    return [d for d in near if degree_number(d) == value] or near


def _add(found: list[str], child: KindDegree) -> None:
    alter = child.alter - (child.value in (7, 14))
    degree = _named(child.value, alter)
    if degree == "6" and any(degree_number(d) == 7 for d in found):
        degree = "13"
    if degree not in found:
        found.append(degree)


def _alter(found: list[str], child: KindDegree) -> None:
    """Change a degree; one that the kind lacks is that of a dominant chord, as if added."""
    there = _same(found, child.value)
    if not there:
        _add(found, child)
        return
    old = there[0]
    found.remove(old)
    signs = DEGREES.get(old, 2) - DEGREES.get(str(degree_number(old)), 2)
    found.append(_named(degree_number(old), signs + child.alter))


def _subtract(found: list[str], child: KindDegree) -> None:
    for degree in _same(found, child.value)[:1]:
        found.remove(degree)


def _named(value: int, signs: int) -> str:
    value = value if value == 2 and signs == 0 else _NUMBERS.get(value, value)
    degree = f"{_SIGNS.get(signs, '?')}{value}"
    degree = _RESPELLED.get(degree, degree)
    if degree not in DEGREES and degree != "2":
        detail = f"no chord has a degree {value} altered by {signs}"
        raise SymbolError.at("", detail, expected="a degree such as b9, #11 or 13")
    return degree


def _ordered(found: Sequence[str]) -> Degrees:
    """In a quality's order: a 4 beside a third is an 11, a 2 without one stands in its place."""
    third = "b3" in found or "3" in found
    suspended = third or "4" in found
    names = {"4": "11" if third else "4", "2": "9"}
    renamed = {names.get(d, d) for d in found if d != "2" or suspended}
    whole = sorted(renamed, key=lambda d: (degree_number(d), DEGREES[d]))
    if "2" in found and not suspended:
        whole.insert(1, "9")
    return tuple(whole)


@lru_cache(maxsize=1024)
def suffix_of_degrees(degrees: Degrees) -> str | None:
    """The shortest canonical suffix that reads back as `degrees`; None where there is none.

    >>> suffix_of_degrees(("1", "3", "5", "b7", "9", "11", "13"))
    '13'
    """
    if len(degrees) < 2 or degrees[0] != "1":
        return None
    upper = [d for d in degrees if degree_number(d) > 7 or d in ("b5", "#5")]
    subsets = chain.from_iterable(combinations(upper, n) for n in range(len(upper) + 1))
    suffixes = {_spelled(degrees, written) for written in subsets}
    return min((s for s in suffixes if _reads_as(s, degrees)), key=_brevity, default=None)


def _spelled(degrees: Degrees, written: Degrees) -> str:
    """The canonical suffix; ``"?"`` if nothing implies what `written` leaves out."""
    try:
        return canonical_suffix(degrees, written)
    except ValueError:
        return "?"


def _brevity(suffix: str) -> tuple[int, str]:
    return len(suffix), suffix


def _reads_as(suffix: str, degrees: Degrees) -> bool:
    try:
        return symbols.parse("C" + suffix).content.degrees == degrees
    except SymbolError:
        return False
