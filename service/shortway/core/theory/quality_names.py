"""Qualities taken apart, and the one canonical spelling of each.

Knows no other module. Every function takes a quality as its degrees, in the order of
`qualities.Quality`, and what of them the symbol writes; roots are the chord's affair.
"""

from collections.abc import Iterable
from typing import NamedTuple

Degrees = tuple[str, ...]

#: Naturals that an extension implies below it; common practice, and the kinds dominant-ninth to
#: dominant-13th of MusicXML 4.0, which stack in full.
IMPLIED: dict[int, Degrees] = {7: (), 9: ("9",), 11: ("9", "11"), 13: ("9", "11", "13")}

#: The altered dominant; common practice: the diminished whole-tone scale without its natural 5.
ALT_WRITTEN: Degrees = ("b9", "#9", "#11", "b13")
ALT: Degrees = ("1", "3", "b7", *ALT_WRITTEN)

_FIFTHS = frozenset({"b5", "5", "#5"})
_SEVENTHS = frozenset({"b7", "7", "bb7"})
_UPPER = frozenset({"b9", "9", "#9", "11", "#11", "b13", "13"})


class QualityParts(NamedTuple):
    """A quality taken apart: third (or what suspends it), fifths, sixth or sevenths, the rest."""

    third: str
    fifths: Degrees
    sevenths: Degrees
    sixth: bool
    upper: Degrees


def degree_number(degree: str) -> int:
    """The number of a degree without its sign.

    >>> degree_number("#11"), degree_number("bb7")
    (11, 7)
    """
    return int(degree.lstrip("b#"))


def quality_parts(degrees: Degrees) -> QualityParts:
    """Take a quality apart; a 9 in the third's place is that of a sus2.

    >>> quality_parts(("1", "9", "5"))
    QualityParts(third='9', fifths=('5',), sevenths=(), sixth=False, upper=())
    """
    third = degrees[1] if degrees[1] in ("3", "b3", "4", "9") else ""
    rest = degrees[2:] if third else degrees[1:]
    return QualityParts(
        third,
        tuple(d for d in rest if d in _FIFTHS),
        tuple(d for d in rest if d in _SEVENTHS),
        "6" in rest,
        tuple(d for d in rest if d in _UPPER),
    )


def canonical_suffix(degrees: Degrees, written: Degrees) -> str:
    """The one spelling of a quality, in ASCII.

    >>> canonical_suffix(("1", "b3", "b5", "b7"), ("b5",))
    'm7b5'
    >>> canonical_suffix(("1", "3", "5", "b7", "b9", "11", "13"), ("b9", "13"))
    '13b9'
    """
    if degrees == ALT:
        return "7alt"
    parts = quality_parts(degrees)
    extension = _extension(parts, written)
    stem, covered = _stem(parts, extension)
    fifths = [d for d in parts.fifths if d != "5" and d not in covered]
    altered = [d for d in parts.upper if d[0] in "b#" and degree_number(d) != extension]
    implied = _implied(parts, extension)
    added = [d for d in parts.upper if d in written and d not in (*altered, str(extension))]
    omitted = _omitted(parts, implied)
    if parts.sixth and parts.third and "9" in added:
        stem, added = stem.replace("6", "6/9", 1), [d for d in added if d != "9"]
    if parts.sevenths or parts.sixth:
        inside = [*(f"add{d}" for d in added), *omitted]
        return stem + "".join(fifths) + "".join(altered) + parenthesized(inside)
    adds = [f"add{d}" for d in (d for d in parts.upper if d in written)]
    if stem == "" and not fifths and not omitted and adds in (["add9"], ["add11"], ["add13"]):
        return adds[0]
    return stem + parenthesized([*fifths, *adds, *omitted])


def _extension(parts: QualityParts, written: Degrees) -> int:
    """The extension, 7 to 13, that leaves least to add or to take away; the highest of equals.

    Degrees without a name (9 unwritten beside #9) have 7: it reads back as other degrees.
    """
    if not parts.sevenths or parts.sevenths == ("bb7", "7"):
        return 7
    choices = [
        (_cost(parts, extension), -extension)
        for extension in (13, 11, 9, 7)
        if _fits(parts, written, extension)
    ]
    return -min(choices)[1] if choices else 7


def _fits(parts: QualityParts, written: Degrees, extension: int) -> bool:
    """Whether `extension` is written, implies all that is unwritten and nothing that is written.

    Nothing is a dim13: its 13 would sound as its seventh.
    """
    if extension == 13 and parts.sevenths == ("bb7",):
        return False
    implied = set(_implied(parts, extension)) - {str(extension)}
    unwritten = {d for d in parts.upper if d not in written}
    there = extension == 7 or str(extension) in {*parts.upper} & {*written}
    return there and unwritten <= implied and implied.isdisjoint(written)


def _cost(parts: QualityParts, extension: int) -> int:
    """What would have to be added (1 each) or left out (2 each)."""
    implied = set(_implied(parts, extension))
    there = {d for d in parts.upper if d[0] not in "b#" or degree_number(d) == extension}
    return len(there - implied) + 2 * len(implied - there)


def _implied(parts: QualityParts, extension: int) -> Degrees:
    """What `extension` implies here: nothing of a number that is altered or suspended."""
    taken = {degree_number(d) for d in parts.upper if d[0] in "b#"} - {extension}
    if parts.third == "4":
        taken.add(11)
    if parts.third == "9":
        taken |= {9, 11}
    return tuple(d for d in IMPLIED[extension] if int(d) not in taken)


def _omitted(parts: QualityParts, implied: Degrees) -> list[str]:
    power = parts.fifths == ("5",) and not parts.sevenths and not parts.sixth
    return [
        *(["no3"] if not parts.third and not power else []),
        *(["no5"] if not parts.fifths else []),
        *(f"no{d}" for d in implied if d not in parts.upper),
    ]


def _stem(parts: QualityParts, extension: int) -> tuple[str, Degrees]:
    """Triad, seventh or sixth of the suffix, and the fifths that it covers."""
    third, fifths, sevenths = parts.third, parts.fifths, parts.sevenths
    if third == "b3" and fifths == ("b5",) and not parts.sixth and "b7" not in sevenths:
        return _diminished_stem(sevenths, extension), fifths
    if third == "3" and fifths == ("#5",) and not sevenths and not parts.sixth:
        return "aug", fifths
    if not third and fifths == ("5",) and not sevenths and not parts.sixth:
        return "5", fifths
    return _plain_stem(parts, extension), ()


def _diminished_stem(sevenths: Degrees, extension: int) -> str:
    if sevenths == ("bb7", "7"):
        return "dim7(maj7)"
    if sevenths == ("7",):
        return f"dim(maj{extension})"
    return f"dim{extension}" if sevenths else "dim"


def _plain_stem(parts: QualityParts, extension: int) -> str:
    minor = "m" if parts.third == "b3" else ""
    suspended = {"4": "sus4", "9": "sus2"}.get(parts.third, "")
    if "7" in parts.sevenths:
        return f"m(maj{extension})" if minor else f"maj{extension}{suspended}"
    if parts.sevenths:
        return f"{minor}{extension}{suspended}"
    return f"{minor}6{suspended}" if parts.sixth else minor + suspended


def parenthesized(items: Iterable[str]) -> str:
    """`items` with commas in parentheses, or nothing."""
    inside = ",".join(items)
    return f"({inside})" if inside else ""
