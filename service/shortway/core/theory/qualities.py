"""Qualities: what a suffix stands for, and the tables of theory that go with each chord type.

Knows labels, notations and pitch. A quality is transposable: nothing here has a root. `CHORD_TYPES`
are the rows of the table; every chord belongs to one of them.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple

from shortway.core.theory.notations import KindDegree, harte_shorthand, musicxml_kind
from shortway.core.theory.pitch import DEGREES
from shortway.core.theory.quality_names import (
    Degrees,
    canonical_suffix,
    degree_number,
    quality_parts,
)


class ChordTypeRow(NamedTuple):
    """What theory says of a chord type: degrees beyond the chord, from the ninth up.

    `tensions` it may take: Terefenko, Jazz Theory (2014), ch. 5, diatonic and chromatic extensions;
    the whole-step rule (as taught in Berklee's Harmony 3) then filters them. A triad's 13 is called
    6. `chromatic` are those that a dominant may take besides, though they lie a half step above a
    chord tone: Terefenko's chromatic extensions.

    `colours` are tensions that players add without being asked; common practice. Left out as
    disputed: the 13 on a minor seventh (as ii it makes a tritone with the third) and the 9 on a
    half-diminished. A power chord's 9 is the next of its fifths.

    `scale` are the degrees of its chord scales beyond its chord tones; those a half step above a
    chord tone are to be avoided. Chord-scale lists of Hutchinson, Music Theory for the 21st-Century
    Classroom, and Open Music Theory: Ionian, Mixolydian, the minor modes, Locrian, melodic minor,
    whole tone, whole-half octatonic.
    """

    tensions: Degrees
    chromatic: Degrees
    colours: Degrees
    scale: Degrees


#: Triads first, then sixths, sevenths, and no chord at all: tensions, chromatic ones, colours,
#: degrees of the scales.
ROWS: dict[str, ChordTypeRow] = {
    name: ChordTypeRow(*(tuple(cell.split()) for cell in cells))
    for name, *cells in (
        ("power", "9 6", "", "9", ""),
        ("major", "9 #11 6", "", "9 6", "9 11 6"),
        ("minor", "9 11 6", "", "9 11", "b9 9 11 b13 6"),
        ("augmented", "9 #11", "", "9", "9 #11"),
        ("diminished", "9 11 b13", "", "", "b9 9 11 b13"),
        ("suspended", "9 6", "", "9", "9 6"),
        ("major-sixth", "7 9 #11", "", "9", "9 11"),
        ("minor-sixth", "7 9 11", "", "9 11", "9 11"),
        ("major-seventh", "9 #11 13", "", "9 13", "9 11 13"),
        ("augmented-major-seventh", "9 #11", "", "9", "9 #11 13"),
        ("minor-seventh", "9 11 13", "", "9 11", "b9 9 11 b13 13"),
        ("minor-major-seventh", "9 11 13", "", "9 13", "9 11 13"),
        ("dominant", "9 #11 13", "b9 #9 b13", "9 13", "9 11 13"),
        ("dominant-suspended", "9 13", "b9 #9 b13", "9 13", "9 13"),
        ("half-diminished", "9 11 b13", "", "11", "b9 9 11 b13"),
        ("diminished-seventh", "7 9 11 b13", "", "9 11", "9 11 b13"),
        ("none", "", "", "", ""),
    )
}
CHORD_TYPES: Degrees = tuple(ROWS)
#: Chord types without a seventh or sixth of their own.
TRIADS: Degrees = ("power", "major", "minor", "augmented", "diminished", "suspended")
#: The colours of each chord type.
COLOURS: dict[str, Degrees] = {name: row.colours for name, row in ROWS.items()}

_BASIC = frozenset({"1", "b3", "3", "4", "b5", "5", "#5", "6", "b7", "7", "bb7"})


@dataclass(frozen=True)
class Quality:
    """What a suffix stands for over any root.

    `degrees`: all degrees, in the order 1 3 5 6 7 9 11 13; a 4 or a sus2's 9 stands where the third
    would. `written`: those that the symbol writes over its triad, seventh or sixth, in the same
    order.
    """

    degrees: Degrees
    written: Degrees

    def __hash__(self) -> int:
        return self._hash

    @cached_property
    def _hash(self) -> int:
        return hash((self.degrees, self.written))

    @cached_property
    def suffix(self) -> str:
        """The canonical spelling without root and bass."""
        return canonical_suffix(self.degrees, self.written) if self.degrees else "N.C."

    @cached_property
    def musicxml(self) -> tuple[str, tuple[KindDegree, ...]]:
        """MusicXML 4.0 kind and degree children."""
        return musicxml_kind(self.degrees) if self.degrees else ("none", ())

    @cached_property
    def harte(self) -> str:
        """Harte shorthand and degree list."""
        return harte_shorthand(self.degrees) if self.degrees else "N"

    @cached_property
    def chord_type(self) -> str:
        """The row of the tables above."""
        return chord_type_of(self.degrees)

    @cached_property
    def is_plain_triad(self) -> bool:
        """Whether it is a major or minor triad or an open fifth, with nothing added."""
        plain = self.chord_type in ("power", "major", "minor") and len(self.degrees) <= 3
        return plain and not {"b5", "#5"} & {*self.degrees}

    @cached_property
    def guide_tones(self) -> Degrees:
        """Third, or the 4 or 9 that suspends it, and seventh or sixth."""
        if not self.degrees:
            return ()
        parts = quality_parts(self.degrees)
        sixth = ("6",) if parts.sixth else ()
        return (*((parts.third,) if parts.third else ()), *(parts.sevenths[:1] or sixth))

    @cached_property
    def tensions(self) -> Degrees:
        """Degrees beyond the chord that theory allows, from the ninth up."""
        row = ROWS[self.chord_type]
        allowed = [d for d in row.tensions if self._a_whole_step_above(d)]
        allowed += [d for d in row.chromatic if self._free(d)]
        return tuple(sorted(allowed, key=_height))

    @cached_property
    def colours(self) -> Degrees:
        """The tensions that are added without being written.

        None of them is a 13 beside an altered ninth, or a 6 on a triad that names its colour.
        """
        unwanted = set()
        if not {"b9", "#9"}.isdisjoint(self.degrees):
            unwanted.add("13")
        if self.written:
            unwanted.add("6")
        return tuple(
            d for d in COLOURS[self.chord_type] if d in self.tensions and d not in unwanted
        )

    def allows(self, degree: str) -> bool:
        """Whether `degree` is a tension of theory here, or a 6 or 7 that the chord has none of."""
        return degree in self.tensions or (degree in ("6", "7") and self._free(degree))

    def added(self, degrees: Degrees) -> Degrees:
        """Those of `degrees` whose pitch and number the chord does not have already."""
        return _added(self, degrees)

    @cached_property
    def avoid(self) -> Degrees:
        """Degrees of the chord's scales that lie a half step above a chord tone."""
        return tuple(
            d
            for d in ROWS[self.chord_type].scale
            if self._free(d) and _above(d, 1) & self._basic_classes
        )

    @cached_property
    def _basic_classes(self) -> frozenset[int]:
        """Pitch classes of the chord tones; a fifth that is left out is still understood."""
        third_place = self.degrees[1:2]
        basic = {DEGREES[d] for d in self.degrees if d in _BASIC or d in third_place}
        fifth = {DEGREES["5"]} if not {"5", "b5", "#5"} & set(self.degrees) else set()
        return frozenset(basic | fifth)

    def _free(self, degree: str) -> bool:
        """Neither its pitch nor its number, 6 and 13 being one, is in the chord already."""
        return all(
            DEGREES[d] != DEGREES[degree] and _family(d) != _family(degree) for d in self.degrees
        )

    def _a_whole_step_above(self, degree: str) -> bool:
        basic = self._basic_classes
        return (
            self._free(degree) and not _above(degree, 1) & basic and bool(_above(degree, 2) & basic)
        )


@lru_cache(maxsize=4096)
def _added(quality: Quality, degrees: Degrees) -> Degrees:
    return tuple(degree for degree in degrees if quality._free(degree))


#: No chord at all.
NO_CHORD = Quality((), ())


def chord_type_of(degrees: Degrees) -> str:
    """The chord type of a quality, from its third and its seventh or sixth.

    >>> chord_type_of(("1", "b3", "b5", "b7")), chord_type_of(("1", "4", "5", "b7", "9"))
    ('half-diminished', 'dominant-suspended')
    """
    if not degrees:
        return "none"
    parts = quality_parts(degrees)
    seventh = parts.sevenths[0] if parts.sevenths else "6" if parts.sixth else ""
    if parts.third == "b3":
        return _minor_sort(seventh, parts.fifths)
    if parts.third in ("4", "9"):
        return "dominant-suspended" if seventh == "b7" else "suspended"
    return _major_sort(seventh, parts.fifths, bool(parts.third))


def _minor_sort(seventh: str, fifths: Degrees) -> str:
    flat_five = fifths == ("b5",)
    if seventh == "b7":
        return "half-diminished" if flat_five else "minor-seventh"
    if seventh == "7":
        return "diminished-seventh" if flat_five else "minor-major-seventh"
    if seventh == "bb7":
        return "diminished-seventh"
    if seventh == "6":
        return "minor-sixth"
    return "diminished" if flat_five else "minor"


def _major_sort(seventh: str, fifths: Degrees, third: bool) -> str:
    sharp_five = fifths == ("#5",)
    if seventh == "b7":
        return "dominant"
    if seventh == "7":
        return "augmented-major-seventh" if sharp_five else "major-seventh"
    if seventh == "6":
        return "major-sixth"
    if not third:
        return "power"
    return "augmented" if sharp_five else "major"


def _above(degree: str, semitones: int) -> frozenset[int]:
    """The pitch class that `degree` lies `semitones` above, as a set."""
    return frozenset({(DEGREES[degree] - semitones) % 12})


def _family(degree: str) -> int:
    """The number of a degree, 6 counted as 13; a 7 beside a bb7 is another degree."""
    return 0 if degree == "bb7" else 13 if degree == "6" else degree_number(degree)


def _height(degree: str) -> tuple[int, int]:
    return degree_number(degree), DEGREES[degree]
