"""AvailableTones: the degrees of one chord that may sound under a setting, by the parts they play.

Knows qualities and pitch. They are free of key and register, so that chords of one quality
share it; it also holds the rules that ask only which degrees sound together.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from shortway.core.theory.pitch import DEGREES
from shortway.core.theory.qualities import Quality
from shortway.core.theory.quality_names import ALT_WRITTEN

#: Colours that one voicing never holds together, unless the symbol writes both (common practice).
CLASHES: Final = (
    ("9", "b9"), ("9", "#9"), ("13", "b13"), ("6", "b13"), ("6", "13"),
    ("5", "#5"), ("5", "b13"), ("5", "b5"), ("11", "#11"),
)  # fmt: skip

#: Degrees that are best heard once.
ALTERED: Final = frozenset({"b9", "#9", "#11", "b13", "b5", "#5"})

_NINTHS: Final = ("9", "b9", "#9")
_THIRTEENTHS: Final = ("13", "b13")
_FIFTHS: Final = ("5", "b5", "#5")
_SEVENTHS: Final = ("b7", "7", "bb7")

#: Sorts in which a sixth may stand for the seventh.
_SIXTH_FOR_SEVENTH: Final = frozenset({"major-seventh"})
#: Sorts whose flat fifth sounds from three notes up.
_FLAT_FIFTH: Final = frozenset({"half-diminished", "diminished-seventh", "diminished"})
#: Sorts that one guide tone is enough for in a stack of fourths.
_OPEN: Final = frozenset(
    {"minor-seventh", "suspended", "dominant-suspended", "power", "minor", "none"}
)


@dataclass(frozen=True, slots=True)
class AvailableTones:
    """What may sound, by part; hashable.

    Attributes
    ----------
    pool : tuple of str
        Every degree that may sound.
    third, seventh : str or None
        The guide tones: of a sus the 4 (or 9) is the third, of a sixth chord the 6 the seventh.
    sixth : str or None
        The degree that may take the seventh's seat instead of it.
    required : tuple of str
        Degrees that sound where there is room: the symbol's own, and altered fifths.
    together : tuple of str
        Degrees that the symbol writes, which are excused from `CLASHES` among themselves.
    wants_root : bool
        Whether the root sounds where there is room after those.
    by_choice : bool
        Whether the required degrees are an ``alt``'s, which names them all and asks for any.
    either : bool
        Whether the sixth is as good as the seventh, the symbol having neither.
    """

    chord_type: str
    pool: tuple[str, ...]
    third: str | None
    seventh: str | None
    sixth: str | None
    required: tuple[str, ...]
    together: tuple[str, ...]
    wants_root: bool = False
    by_choice: bool = False
    either: bool = False

    @property
    def fifths(self) -> tuple[str, ...]:
        """The chord's fifths, altered or not."""
        return self._of(_FIFTHS)

    def part(self, name: str) -> tuple[str, ...]:
        """The degrees that stand for a part of `shortway.core.settings.families.SEATS`."""
        match name:
            case "third":
                return _one(self.third)
            case "seventh":
                return _one(self.seventh) + (_one(self.sixth) if self.either else ())
            case "sixth":
                return _one(self.sixth)
            case "fifth":
                return self.fifths
            case "ninth":
                # An open fifth stays open wherever its notes can be doubled instead.
                own = () if self.chord_type == "power" else self._of(_NINTHS)
                return tuple(degree for degree in own if degree != self.third)
            case "last":
                return self._of(_NINTHS) if self.chord_type == "power" else ()
            case "eleventh":
                return self._of(("11",)) if self.flat_fifth else ()
            case "thirteenth":
                return self._of(_THIRTEENTHS)
            case "written":
                return self.required
            case _:
                return self._of((name,))

    def _of(self, degrees: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(degree for degree in degrees if degree in self.pool)

    def conflicts(self) -> list[tuple[str, str]]:
        """The pairs of degrees that never sound together; the symbol excuses those it writes."""
        return [
            (one, other)
            for one, other in CLASHES
            if one not in self.together or other not in self.together
        ]

    def clashes(self, degrees: tuple[str, ...]) -> bool:
        """Whether two of `degrees` disagree in colour."""
        return any(one in degrees and other in degrees for one, other in self.conflicts())

    @property
    def flat_fifth(self) -> bool:
        """Whether the flat fifth is what makes the chord, and so sounds from three notes up."""
        return self.chord_type in _FLAT_FIFTH

    def has_guide_tones(self, degrees: tuple[str, ...], seats: int) -> bool:
        """Whether the guide tones are heard in `degrees`, as far as `seats` leave them room."""
        heard = [
            guide in degrees or (guide == self.seventh and self.sixth in degrees)
            for guide in (self.third, self.seventh)
            if guide is not None
        ]
        flat_fifth = not self.flat_fifth or seats < 3 or "b5" in degrees
        enough = all(heard) if seats >= 2 or not heard else any(heard)
        return enough and flat_fifth and not (self.either and self.third not in degrees)

    def has_open_guide_tones(self, degrees: tuple[str, ...], seats: int) -> bool:
        """As `has_guide_tones`, with one where the chord type needs no more in fourths."""
        return self.has_guide_tones(degrees, min(seats, 1) if self.chord_type in _OPEN else seats)

    def may_miss(self, voices: int) -> int:
        """What so many voices may miss, as `missing` counts, for want of room beside the guides."""
        room = 0 if self.by_choice else voices - len({self.third, self.seventh} - {None})
        spare = room - len(self.required)
        return 2 * max(0, -spare) + (self.wants_root and spare < 1)

    def missing(self, degrees: tuple[str, ...]) -> int:
        """What does not sound: two for each required degree, one for a wanted root."""
        absent = sum(degree not in degrees for degree in self.required)
        return 2 * absent + (self.wants_root and "1" not in degrees)


def _one(degree: str | None) -> tuple[str, ...]:
    return () if degree is None else (degree,)


@lru_cache(maxsize=4096)
def available_tones(
    quality: Quality, added: tuple[str, ...], over_slash: bool = False
) -> AvailableTones:
    """The available tones of `quality` with the degrees `added` to what it writes.

    Over a slash bass that is not the root nobody else plays the root, so it is wanted, next after
    what the symbol writes.

    A natural 11 over a major third makes the chord a sus where the symbol writes it, and is left
    out where a 13 merely implies it (as both open textbooks say of practice).
    """
    degrees = list(quality.degrees)
    if "3" in degrees and "11" in degrees:
        degrees.remove("3" if "11" in quality.written else "11")
    third = _third(quality, degrees)
    pool = tuple(sorted({*degrees, *added}, key=lambda d: (DEGREES[d], d)))
    seventh = _seventh(degrees, pool)
    return AvailableTones(
        chord_type=quality.chord_type,
        pool=pool,
        third=third,
        seventh=seventh,
        sixth=_sixth(quality, degrees, pool, seventh),
        required=tuple(
            degree
            for degree in dict.fromkeys((*quality.written, *degrees))
            if _insists(quality, degree, third, seventh)
        ),
        together=quality.written,
        wants_root=over_slash and "1" in pool,
        by_choice=quality.written == ALT_WRITTEN and "5" not in quality.degrees,
        either=seventh == "7" and seventh not in degrees,
    )


def _third(quality: Quality, degrees: list[str]) -> str | None:
    order = ("3", "b3", "4", "11" if "11" in quality.written else "4")
    found = next((d for d in order if d in degrees), None)
    return "9" if found is None and quality.chord_type == "suspended" and "9" in degrees else found


def _seventh(degrees: list[str], pool: tuple[str, ...]) -> str | None:
    """The chord's seventh or sixth; else a 7 that is added."""
    own = next((d for d in _SEVENTHS if d in degrees), "6" if "6" in degrees else None)
    return "7" if own is None and "7" in pool else own


def _sixth(
    quality: Quality, degrees: list[str], pool: tuple[str, ...], seventh: str | None
) -> str | None:
    if seventh not in degrees and "6" in pool:
        return "6"
    free = "13" in pool and "13" not in quality.written
    return "6" if quality.chord_type in _SIXTH_FOR_SEVENTH and free else None


def _insists(quality: Quality, degree: str, third: str | None, seventh: str | None) -> bool:
    """Whether `degree` must sound where there is room: written tensions and altered fifths."""
    if degree in (third, seventh, "1", "5") or (degree == "3" and third == "11"):
        return False
    return degree in quality.written or degree in ("b5", "#5")
