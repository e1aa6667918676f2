"""What a quality is called: canonical suffix, MusicXML 4.0 kind, Harte shorthand.

Knows pitch only. Every function takes a quality as its degrees, in the order of
`shortway.core.qualities.Quality`, and what of them the symbol writes; roots are the chord's affair.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, NamedTuple

from shortway.core.pitch import DEGREES

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

#: MusicXML 4.0 kinds by third, fifth, and seventh or sixth (W3C reference, kind-value).
_KINDS: dict[tuple[str, str, str], str] = {
    ("3", "5", ""): "major",
    ("b3", "5", ""): "minor",
    ("3", "#5", ""): "augmented",
    ("b3", "b5", ""): "diminished",
    ("3", "5", "b7"): "dominant",
    ("3", "5", "7"): "major-seventh",
    ("b3", "5", "b7"): "minor-seventh",
    ("b3", "b5", "bb7"): "diminished-seventh",
    ("3", "#5", "b7"): "augmented-seventh",
    ("b3", "b5", "b7"): "half-diminished",
    ("b3", "5", "7"): "major-minor",
    ("3", "5", "6"): "major-sixth",
    ("b3", "5", "6"): "minor-sixth",
    ("9", "5", ""): "suspended-second",
    ("4", "5", ""): "suspended-fourth",
    ("", "5", ""): "power",
}
_TRIADS_AND_SEVENTHS = {kind: ("1", *filter(None, tones)) for tones, kind in _KINDS.items()}
_ALL_KINDS: dict[str, Degrees] = _TRIADS_AND_SEVENTHS | {
    f"{start}-{name}": (*_TRIADS_AND_SEVENTHS[seventh], *IMPLIED[extension])
    for start, seventh in (
        ("dominant", "dominant"),
        ("major", "major-seventh"),
        ("minor", "minor-seventh"),
    )
    for extension, name in ((9, "ninth"), (11, "11th"), (13, "13th"))
}

#: Harte shorthands (Harte et al., ISMIR 2005, as in mir_eval's tables) with what they stand for.
_SHORTHANDS: dict[str, Degrees] = {
    "maj": ("1", "3", "5"), "min": ("1", "b3", "5"),
    "aug": ("1", "3", "#5"), "dim": ("1", "b3", "b5"),
    "sus2": ("1", "9", "5"), "sus4": ("1", "4", "5"), "5": ("1", "5"),
    "7": ("1", "3", "5", "b7"), "maj7": ("1", "3", "5", "7"),
    "min7": ("1", "b3", "5", "b7"), "minmaj7": ("1", "b3", "5", "7"),
    "dim7": ("1", "b3", "b5", "bb7"), "hdim7": ("1", "b3", "b5", "b7"),
    "maj6": ("1", "3", "5", "6"), "min6": ("1", "b3", "5", "6"),
    "9": ("1", "3", "5", "b7", "9"), "maj9": ("1", "3", "5", "7", "9"),
    "min9": ("1", "b3", "5", "b7", "9"),
    "11": ("1", "3", "5", "b7", "9", "11"), "min11": ("1", "b3", "5", "b7", "9", "11"),
    "13": ("1", "3", "5", "b7", "9", "11", "13"),
    "maj13": ("1", "3", "5", "7", "9", "11", "13"),
    "min13": ("1", "b3", "5", "b7", "9", "11", "13"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class KindDegree:
    """A MusicXML 4.0 ``degree`` child: value, alter in semitones, type."""

    value: int
    alter: int
    type: Literal["add", "alter", "subtract"]


class Shape(NamedTuple):
    """A quality taken apart: third (or what suspends it), fifths, sixth or sevenths, the rest."""

    third: str
    fifths: Degrees
    sevenths: Degrees
    sixth: bool
    upper: Degrees


def number(degree: str) -> int:
    """The number of a degree without its sign.

    >>> number("#11"), number("bb7")
    (11, 7)
    """
    return int(degree.lstrip("b#"))


def shape(degrees: Degrees) -> Shape:
    """Take a quality apart; a 9 in the third's place is that of a sus2.

    >>> shape(("1", "9", "5"))
    Shape(third='9', fifths=('5',), sevenths=(), sixth=False, upper=())
    """
    third = degrees[1] if degrees[1] in ("3", "b3", "4", "9") else ""
    rest = degrees[2:] if third else degrees[1:]
    return Shape(
        third,
        tuple(d for d in rest if d in _FIFTHS),
        tuple(d for d in rest if d in _SEVENTHS),
        "6" in rest,
        tuple(d for d in rest if d in _UPPER),
    )


# The canonical suffix -------------------------------------------------------------------------


def canonical_suffix(degrees: Degrees, written: Degrees) -> str:
    """The one spelling of a quality, in ASCII.

    >>> canonical_suffix(("1", "b3", "b5", "b7"), ("b5",))
    'm7b5'
    >>> canonical_suffix(("1", "3", "5", "b7", "b9", "11", "13"), ("b9", "13"))
    '13b9'
    """
    if degrees == ALT:
        return "7alt"
    parts = shape(degrees)
    extension = _extension(parts, written)
    stem, covered = _stem(parts, extension)
    fifths = [d for d in parts.fifths if d != "5" and d not in covered]
    altered = [d for d in parts.upper if d in written and d[0] in "b#"]
    implied = _implied(parts, extension)
    added = [d for d in parts.upper if d in written and d[0] not in "b#" and number(d) != extension]
    omitted = _omitted(parts, implied)
    if parts.sixth and parts.third and "9" in added:
        stem, added = stem.replace("6", "6/9", 1), [d for d in added if d != "9"]
    if parts.sevenths or parts.sixth:
        inside = [*(f"add{d}" for d in added), *omitted]
        return stem + "".join(fifths) + "".join(altered) + _parenthesised(inside)
    adds = [f"add{d}" for d in (d for d in parts.upper if d in written)]
    if stem == "" and not fifths and not omitted and adds in (["add9"], ["add11"], ["add13"]):
        return adds[0]
    return stem + _parenthesised([*fifths, *adds, *omitted])


def _extension(parts: Shape, written: Degrees) -> int:
    """The extension, 7 to 13, that leaves least to add or to take away; the highest of equals."""
    if not parts.sevenths or parts.sevenths == ("bb7", "7"):
        return 7
    choices = [
        (_cost(parts, extension), -extension)
        for extension in (13, 11, 9, 7)
        if _fits(parts, written, extension)
    ]
    return -min(choices)[1]


def _fits(parts: Shape, written: Degrees, extension: int) -> bool:
    """Whether `extension` is written, implies all that is unwritten and nothing that is written."""
    implied = set(_implied(parts, extension)) - {str(extension)}
    unwritten = {d for d in parts.upper if d not in written}
    there = extension == 7 or str(extension) in {*parts.upper} & {*written}
    altered = any(number(d) == extension for d in parts.upper if d[0] in "b#")
    return there and not altered and unwritten <= implied and implied.isdisjoint(written)


def _cost(parts: Shape, extension: int) -> int:
    """What would have to be added (1 each) or left out (2 each)."""
    implied = set(_implied(parts, extension))
    natural = {d for d in parts.upper if d[0] not in "b#"}
    return len(natural - implied) + 2 * len(implied - natural)


def _implied(parts: Shape, extension: int) -> Degrees:
    """What `extension` implies here: nothing of a number that is altered or suspended."""
    taken = {number(d) for d in parts.upper if d[0] in "b#"}
    if parts.third == "4":
        taken.add(11)
    if parts.third == "9":
        taken |= {9, 11}
    return tuple(d for d in IMPLIED[extension] if int(d) not in taken)


def _omitted(parts: Shape, implied: Degrees) -> list[str]:
    power = parts.fifths == ("5",) and not parts.sevenths and not parts.sixth
    return [
        *(["no3"] if not parts.third and not power else []),
        *(["no5"] if not parts.fifths else []),
        *(f"no{d}" for d in implied if d not in parts.upper),
    ]


def _stem(parts: Shape, extension: int) -> tuple[str, Degrees]:
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


def _plain_stem(parts: Shape, extension: int) -> str:
    minor = "m" if parts.third == "b3" else ""
    suspended = {"4": "sus4", "9": "sus2"}.get(parts.third, "")
    if "7" in parts.sevenths:
        return f"m(maj{extension})" if minor else f"maj{extension}{suspended}"
    if parts.sevenths:
        return f"{minor}{extension}{suspended}"
    return f"{minor}6{suspended}" if parts.sixth else minor + suspended


def _parenthesised(items: Iterable[str]) -> str:
    inside = ",".join(items)
    return f"({inside})" if inside else ""


# MusicXML -------------------------------------------------------------------------------------


def musicxml(degrees: Degrees) -> tuple[str, tuple[KindDegree, ...]]:
    """Kind and degree children of MusicXML 4.0 (W3C reference: kind-value, degree-alter).

    An ``add`` is relative to a dominant chord, ``alter`` and ``subtract`` to the kind.

    >>> musicxml(("1", "4", "5", "b7"))
    ('suspended-fourth', (KindDegree(value=7, alter=0, type='add'),))
    """
    return min(
        ((kind, _children(degrees, tones)) for kind, tones in _same_third(degrees, _ALL_KINDS)),
        key=lambda choice: (len(choice[1]), len(_ALL_KINDS[choice[0]])),
    )


def _same_third(degrees: Degrees, table: dict[str, Degrees]) -> list[tuple[str, Degrees]]:
    """The rows of `table` with the third, or what suspends it, of `degrees`."""
    parts = shape(degrees)
    bare = "3" if parts.sevenths or parts.sixth else ""
    third = parts.third or bare
    return [(key, tones) for key, tones in table.items() if shape(tones).third == third]


def _children(degrees: Degrees, tones: Degrees) -> tuple[KindDegree, ...]:
    """The fewest degree children that make `degrees` of a kind's `tones`."""
    extra = [d for d in degrees if d not in tones]
    children = []
    for degree in (d for d in tones if d not in degrees):
        same = next((d for d in extra if number(d) == number(degree)), None)
        if same is None:
            children.append(KindDegree(number(degree), 0, "subtract"))
        else:
            extra.remove(same)
            children.append(KindDegree(number(degree), DEGREES[same] - DEGREES[degree], "alter"))
    children += [KindDegree(number(d), _added_alter(d), "add") for d in extra]
    return tuple(sorted(children, key=lambda child: (child.value, child.alter)))


def _added_alter(degree: str) -> int:
    natural = "b7" if number(degree) == 7 else str(number(degree))
    return DEGREES[degree] - DEGREES[natural]


# Harte ----------------------------------------------------------------------------------------


def harte_shorthand(degrees: Degrees) -> str:
    """Shorthand and degree list of a Harte label, without root and bass.

    The shorthand with the shortest list after it; only shorthands that mir_eval can encode.

    >>> harte_shorthand(("1", "3", "5", "b7", "b9")), harte_shorthand(("1", "3", "#5", "b7"))
    ('7(b9)', 'aug(b7)')
    """

    third = shape(degrees).third

    def spelled(item: tuple[str, Degrees]) -> tuple[int, bool, int, str]:
        shorthand, tones = item
        missing = [f"*{_harte_degree(d, tones)}" for d in tones if d not in degrees]
        extra = [_harte_degree(d, degrees) for d in degrees if d not in tones]
        weight = 5 * len(missing) + 2 * len(extra)
        label = shorthand + _parenthesised(missing + extra)
        return weight, "5" not in tones, -len(tones), label

    alike = [item for item in _SHORTHANDS.items() if shape(item[1]).third == third]
    return min(map(spelled, alike))[-1]


def _harte_degree(degree: str, among: Degrees) -> str:
    return "2" if degree == "9" and among[1:2] == ("9",) else degree
