"""Available tones: the degrees of one chord that may sound under a setting, by the parts they play.

Knows qualities and pitch. They are free of key and register, so that chords of one quality share
them; the rules that ask only which degrees sound together stand here, too.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from shortway.core.theory.pitch import DEGREES
from shortway.core.theory.qualities import TRIADS, Quality, chord_type_of
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
_THIRDS: Final = ("3", "b3", "4")
_SEVENTHS: Final = ("b7", "7", "bb7")

#: Chord types in which a sixth may stand for the seventh.
_SIXTH_FOR_SEVENTH: Final = frozenset({"major-seventh"})
#: Chord types whose flat fifth sounds from three notes up.
_FLAT_FIFTH: Final = frozenset({"half-diminished", "diminished-seventh", "diminished"})
#: Chord types that one guide tone is enough for in a stack of fourths.
_OPEN: Final = frozenset({"minor-seventh", "suspended", "dominant-suspended"})
#: Semitones of a bass that makes a triad a seventh chord.
_FLAT_SEVENTH: Final = DEGREES["b7"]
_FULL_TRIAD: Final = 3


@dataclass(frozen=True, slots=True)
class AvailableTones:
    """What may sound, by part; hashable.

    Attributes
    ----------
    pool : tuple of str
        Every degree that may sound.
    third, seventh : str or None
        The guide tones: of a sus the 4 (or 9) is the third, of a sixth chord the 6 the seventh. A
        triad has no seventh, whatever is added to it.
    sixth : str or None
        The degree that may take the seventh's seat instead of it.
    required : tuple of str
        Degrees that sound where there is room: the symbol's own, and altered fifths.
    together : tuple of str
        Degrees that the symbol writes, which are excused from `CLASHES` among themselves.
    own : tuple of str
        The degrees of the pool that the chord has without being added.
    wants_root : bool
        Whether the root sounds where there is room after the required degrees.
    by_choice : bool
        Whether the required degrees are an ``alt``'s, which names them all and asks for any.
    in_bass : str or None
        The guide tone that the player's own bass note is, and that need not sound above it.
    """

    chord_type: str
    pool: tuple[str, ...]
    third: str | None
    seventh: str | None
    sixth: str | None
    required: tuple[str, ...]
    together: tuple[str, ...]
    own: tuple[str, ...] = ()
    wants_root: bool = False
    by_choice: bool = False
    in_bass: str | None = None

    @property
    def is_triad(self) -> bool:
        """Whether the chord has neither seventh nor sixth."""
        return self.chord_type in TRIADS and self.seventh is None

    @property
    def is_diminished_seventh(self) -> bool:
        """Whether its four tones make the chord."""
        return self.chord_type == "diminished-seventh"

    @property
    def fifths(self) -> tuple[str, ...]:
        """The fifths, altered or not."""
        return self._of(_FIFTHS)

    @property
    def chord_tones(self) -> tuple[str, ...]:
        """Root, third, fifths and seventh or sixth, as far as the chord has them, from the root."""
        found = ("1", self.third, *self.fifths, self.seventh)
        return tuple(dict.fromkeys(d for d in found if d is not None and d in self.pool))

    @property
    def doubling(self) -> tuple[str, ...]:
        """The tones of a triad that may sound twice: root and fifth, of few or equal ones any."""
        tones = self.chord_tones
        every = len(tones) < _FULL_TRIAD or self.chord_type == "augmented"
        return tuple(degree for degree in tones if every or degree != self.third)

    @property
    def unwritten(self) -> tuple[str, ...]:
        """The degrees of the pool that are added to the chord's own."""
        return tuple(degree for degree in self.pool if degree not in self.own)

    def part(self, name: str) -> tuple[str, ...]:
        """The degrees that stand for a part of `shortway.core.settings.families.SEATS`."""
        match name:
            case "third":
                return _one(self.third)
            case "seventh":
                return _one(self.seventh)
            case "sixth":
                return _one(self.sixth)
            case "fifth":
                return self.fifths
            case "ninth":
                return tuple(degree for degree in self._of(_NINTHS) if degree != self.third)
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
        return [pair for pair in CLASHES if not {*pair} <= {*self.together}]

    def clashes(self, degrees: tuple[str, ...]) -> bool:
        """Whether two of `degrees` disagree in colour."""
        return any(one in degrees and other in degrees for one, other in self.conflicts())

    @property
    def flat_fifth(self) -> bool:
        """Whether the flat fifth is what makes the chord, and so sounds from three notes up."""
        return self.chord_type in _FLAT_FIFTH

    def has_guide_tones(
        self, degrees: tuple[str, ...], seats: int, without: tuple[str, ...] = ()
    ) -> bool:
        """Whether the guide tones sound in `degrees`, as far as `seats` leave them room.

        `without` are guide tones that the row has no seat for.
        """
        heard = [
            guide in degrees or (guide == self.seventh and self.sixth in degrees)
            for guide in (self.third, self.seventh)
            if guide not in (None, *without, self.in_bass)
        ]
        flat_fifth = not self.flat_fifth or seats < 3 or "b5" in degrees
        return flat_fifth and (all(heard) if seats >= 2 or not heard else any(heard))

    def has_open_guide_tones(self, degrees: tuple[str, ...], seats: int) -> bool:
        """As `has_guide_tones`, with one where the chord type needs no more in fourths."""
        return self.has_guide_tones(degrees, min(seats, 1) if self.chord_type in _OPEN else seats)

    def has_own_tones_first(self, degrees: tuple[str, ...]) -> bool:
        """Whether triads stay triads, and diminished sevenths have their four tones.

        A triad has its third once. A diminished seventh of four notes has its four tones, and a
        tension that is not written only on top (common practice).
        """
        if self.is_triad:
            return self.third in (None, *self.doubling) or degrees.count(self.third) < 2
        if not self.is_diminished_seventh:
            return True
        complete = len(degrees) < len(self.chord_tones) or {*self.chord_tones} <= {*degrees}
        return complete and {*self.unwritten}.isdisjoint(degrees[:-1])

    def may_miss(self, voices: int) -> int:
        """What so many voices may miss, as `missing` counts, for want of room beside the guides."""
        guides = self.chord_tones if self.is_diminished_seventh else (self.third, self.seventh)
        room = 0 if self.by_choice else voices - len({*guides} - {None})
        spare = room - sum(degree not in guides for degree in self.required)
        return 2 * max(0, -spare) + (self.wants_root and spare < 1)

    def missing(self, degrees: tuple[str, ...]) -> int:
        """What does not sound: two for each required degree, one for a wanted root."""
        absent = sum(degree not in degrees for degree in self.required)
        return 2 * absent + (self.wants_root and "1" not in degrees)


def _one(degree: str | None) -> tuple[str, ...]:
    return () if degree is None else (degree,)


@lru_cache(maxsize=4096)
def available_tones(
    quality: Quality, added: tuple[str, ...], bass: int = 0, *, own_bass: bool = False
) -> AvailableTones:
    """The available tones of `quality` with the degrees `added` to what it writes.

    Parameters
    ----------
    quality : Quality
    added : tuple of str
        A ``b7`` makes a suspended chord without a number a dominant.
    bass : int
        Semitones of the written bass above the root, 0 to 11. Over a bass that is not the root
        nobody else plays the root, so it is wanted, next after what the symbol writes.
    own_bass : bool
        Whether the player strikes the bass.

    Notes
    -----
    A natural 11 over a major third makes the chord a sus where the symbol writes it, and is left
    out where a 13 merely implies it (as both open textbooks say of practice).
    """
    degrees = list(quality.degrees)
    chord_type = quality.chord_type
    if chord_type == "suspended" and "b7" in added:
        degrees.append("b7")
        chord_type = chord_type_of(tuple(degrees))
    if "3" in degrees and "11" in degrees:
        degrees.remove("3" if "11" in quality.written else "11")
    third = _third(quality, degrees)
    seventh = next((d for d in (*_SEVENTHS, "6") if d in degrees), None)
    fitting = _over_bass(added, quality.degrees, bass, chord_type in TRIADS and seventh is None)
    pool = tuple(sorted({*degrees, *fitting}, key=lambda d: (DEGREES[d], d)))
    return AvailableTones(
        chord_type=chord_type,
        pool=pool,
        third=third,
        seventh=seventh,
        sixth=_sixth(quality, pool),
        required=tuple(
            d
            for d in dict.fromkeys((*quality.written, *degrees))
            if _insists(quality, d, third, seventh)
        ),
        together=quality.written,
        own=tuple(degree for degree in pool if degree in degrees),
        wants_root=bass != 0 and "1" in pool,
        by_choice=quality.written == ALT_WRITTEN and "5" not in quality.degrees,
        in_bass=_guide_in_bass(third, seventh, bass) if own_bass else None,
    )


def _third(quality: Quality, degrees: list[str]) -> str | None:
    order = ("3", "b3", "4", "11" if "11" in quality.written else "4")
    found = next((d for d in order if d in degrees), None)
    return "9" if found is None and quality.chord_type == "suspended" and "9" in degrees else found


def _over_bass(
    added: tuple[str, ...], degrees: tuple[str, ...], bass: int, triad: bool
) -> tuple[str, ...]:
    """The degrees of `added` that a written bass allows (common practice, no source).

    None is a half step from the bass. Over its own third or fifth a triad takes nothing, over a b7
    it is a seventh chord and takes neither 6 nor 7. Over a bass that the chord lacks nothing is
    a #11.
    """
    if bass == 0:
        return added
    own = {DEGREES[degree] for degree in degrees}
    inner = {DEGREES[degree] for degree in degrees if degree in (*_THIRDS, *_FIFTHS)}
    if triad and len(own) >= _FULL_TRIAD and bass in inner:
        return ()
    barred = {"6", "7"} if triad and bass == _FLAT_SEVENTH else set()
    if bass not in own:
        barred.add("#11")
    return tuple(
        degree
        for degree in added
        if degree not in barred and (DEGREES[degree] - bass) % 12 not in (1, 11)
    )


def _guide_in_bass(third: str | None, seventh: str | None, bass: int) -> str | None:
    guides = (degree for degree in (third, seventh) if degree is not None)
    return next((degree for degree in guides if bass and DEGREES[degree] == bass), None)


def _sixth(quality: Quality, pool: tuple[str, ...]) -> str | None:
    free = "13" in pool and "13" not in quality.written
    return "6" if quality.chord_type in _SIXTH_FOR_SEVENTH and free else None


def _insists(quality: Quality, degree: str, third: str | None, seventh: str | None) -> bool:
    """Whether `degree` must sound where there is room: written tensions and altered fifths."""
    if degree in (third, seventh, "1", "5") or (degree == "3" and third == "11"):
        return False
    return degree in quality.written or degree in ("b5", "#5")
