"""Qualities in other notations: MusicXML 4.0 kinds with degrees, Harte shorthand.

Knows the labels and pitch. Every function takes a quality's degrees; roots are the chord's affair.
"""

from dataclasses import dataclass
from typing import Literal

from shortway.core.theory.pitch import DEGREES
from shortway.core.theory.quality_names import (
    IMPLIED,
    Degrees,
    degree_number,
    parenthesized,
    quality_parts,
)

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
#: Every kind that has notes, with its degrees.
ALL_KINDS: dict[str, Degrees] = _TRIADS_AND_SEVENTHS | {
    f"{start}-{name}": (*_TRIADS_AND_SEVENTHS[seventh], *IMPLIED[extension])
    for start, seventh in (
        ("dominant", "dominant"),
        ("major", "major-seventh"),
        ("minor", "minor-seventh"),
    )
    for extension, name in ((9, "ninth"), (11, "11th"), (13, "13th"))
}

#: Harte shorthands (Harte et al., ISMIR 2005, as in mir_eval's tables) with what they stand for.
HARTE_SHORTHANDS: dict[str, Degrees] = {
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


def _by_third(table: dict[str, Degrees]) -> dict[str, dict[str, Degrees]]:
    """The rows of `table` sorted by their third, or what suspends it."""
    thirds: dict[str, dict[str, Degrees]] = {}
    for key, tones in table.items():
        thirds.setdefault(quality_parts(tones).third, {})[key] = tones
    return thirds


_KINDS_BY_THIRD = _by_third(ALL_KINDS)
_SHORTHANDS_BY_THIRD = _by_third(HARTE_SHORTHANDS)


@dataclass(frozen=True, slots=True)
class KindDegree:
    """A MusicXML 4.0 ``degree`` child: value, alter in semitones, type."""

    value: int
    alter: int
    type: Literal["add", "alter", "subtract"]


def musicxml_kind(degrees: Degrees) -> tuple[str, tuple[KindDegree, ...]]:
    """Kind and degree children of MusicXML 4.0 (W3C reference: kind-value, degree-alter).

    An ``add`` is relative to a dominant chord, ``alter`` and ``subtract`` to the kind. Of all
    kinds with the third the one with the fewest children, the seventh and the fewest tones.

    >>> musicxml_kind(("1", "4", "5", "b7"))
    ('suspended-fourth', (KindDegree(value=7, alter=0, type='add'),))
    """
    parts = quality_parts(degrees)
    third = parts.third or ("3" if parts.sevenths or parts.sixth else "")
    kinds = _KINDS_BY_THIRD[third]
    choices = {kind: _children(degrees, tones) for kind, tones in kinds.items()}
    sevenths = {"6", "b7", "7", "bb7"}.intersection(degrees)

    def weight(kind: str) -> tuple[int, int, int]:
        tones = kinds[kind]
        return len(choices[kind]), len(sevenths.difference(tones)), len(tones)

    kind = min(choices, key=weight)
    return kind, choices[kind]


def _children(degrees: Degrees, tones: Degrees) -> tuple[KindDegree, ...]:
    """The fewest degree children that make `degrees` of a kind's `tones`."""
    extra = [d for d in degrees if d not in tones]
    children = []
    for degree in (d for d in tones if d not in degrees):
        same = next((d for d in extra if degree_number(d) == degree_number(degree)), None)
        if same is None:
            children.append(KindDegree(degree_number(degree), 0, "subtract"))
        else:
            extra.remove(same)
            children.append(
                KindDegree(degree_number(degree), DEGREES[same] - DEGREES[degree], "alter")
            )
    children += [KindDegree(degree_number(d), _added_alter(d), "add") for d in extra]
    return tuple(sorted(children, key=lambda child: (child.value, child.alter)))


def _added_alter(degree: str) -> int:
    natural = "b7" if degree_number(degree) == 7 else str(degree_number(degree))
    return DEGREES[degree] - DEGREES[natural]


def harte_shorthand(degrees: Degrees) -> str:
    """Shorthand and degree list of a Harte label, without root and bass.

    The shorthand with the shortest list after it; only shorthands that mir_eval can encode.

    >>> harte_shorthand(("1", "3", "5", "b7", "b9")), harte_shorthand(("1", "3", "#5", "b7"))
    ('7(b9)', 'aug(b7)')
    """

    def spelled(item: tuple[str, Degrees]) -> tuple[int, bool, int, str]:
        shorthand, tones = item
        missing = [f"*{_harte_degree(d, tones)}" for d in tones if d not in degrees]
        extra = [_harte_degree(d, degrees) for d in degrees if d not in tones]
        weight = 5 * len(missing) + 2 * len(extra)
        label = shorthand + parenthesized(missing + extra)
        return weight, "5" not in tones, -len(tones), label

    return min(map(spelled, _SHORTHANDS_BY_THIRD[quality_parts(degrees).third].items()))[-1]


def _harte_degree(degree: str, among: Degrees) -> str:
    return "2" if degree == "9" and among[1:2] == ("9",) else degree
