"""Pricing: how often each price of a voicing applies, for all candidates of a chord at once.

Knows candidates and the table of prices; no move. Prices depend on pitch classes above the root, so
that families with the same notes have the same prices, except for the hands.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Cache
from shortway.core.settings.prices import COMFORTABLE_TOP, HOME_BAND, VOICING_PRICES
from shortway.core.theory.pitch import DEGREES
from shortway.core.voicings.available_tones import AvailableTones
from shortway.core.voicings.candidate_arrays import Candidates

Counts = NDArray[np.int32]

#: Groups of degrees that a context asks for; any one degree of a group satisfies it.
Wants = tuple[tuple[str, ...], ...]

#: Most groups of a context that count.
MOST_WANTS: Final = 2
_SIXTH: Final = DEGREES["6"]


def voicing_counts(candidates: Candidates, wants: Wants, home: int) -> Counts:
    """How often each price applies; int32 of shape (prices, candidates).

    `wants`: the colours that the context asks for. `home`: MIDI number.
    """
    if candidates.block is not None:
        rows = slice(candidates.first, candidates.first + len(candidates))
        return voicing_counts(candidates.block, wants, home)[:, rows]
    if candidates.shared:
        key = candidates.number, wants, home
        return _COUNTS.get(key, lambda: _counts(candidates, wants, home))
    return _counts(candidates, wants, home)


_COUNTS: Final[Cache[tuple[int, Wants, int], Counts]] = Cache(
    "voicing counts", 8 << 20, lambda counts: counts.nbytes + 250
)


def colour_counts(candidates: Candidates, colours: Sequence[str]) -> Counts:
    """How many of `colours` each candidate has; shape (candidates,)."""
    classes = _PitchClasses(candidates)
    found = np.zeros(len(candidates), np.int32)
    for place in {DEGREES[degree] for degree in colours}:
        found += classes.times[:, place] > 0
    return found


def _counts(candidates: Candidates, wants: Wants, home: int) -> Counts:
    classes = _PitchClasses(candidates)
    by_name = {**classes.tones(wants), **classes.intervals(), **classes.places(home)}
    return np.array([by_name[name] for name in VOICING_PRICES], np.int32)


def _classes(degrees: Iterable[str | None]) -> list[int]:
    """Semitones above the root, each once."""
    return sorted({DEGREES[degree] for degree in degrees if degree is not None})


def _singly(*degrees: str | None) -> list[tuple[str]]:
    """Each degree as a group of its own."""
    return [(degree,) for degree in degrees if degree is not None]


@dataclass(eq=False, slots=True)
class _PitchClasses:
    """Candidates as pitch classes above their root.

    Attributes
    ----------
    above : int16, shape (candidates, upper voices)
        `Candidates.classes` of the upper notes.
    times : int32, shape (candidates, 12)
        How many upper notes have each pitch class above the root.
    bass : int32 or None, shape (candidates,)
        The bass note's pitch class above the root, where the player has one.
    """

    of: AvailableTones
    candidates: Candidates
    above: NDArray[np.int16]
    times: Counts
    bass: Counts | None

    def __init__(self, candidates: Candidates) -> None:
        self.of, self.candidates = candidates.available, candidates
        classes = candidates.classes
        self.above = classes[:, int(candidates.has_bass) :]
        self.times = (self.above[:, :, None] == np.arange(12)).sum(axis=1, dtype=np.int32)
        self.bass = classes[:, 0].astype(np.int32) if candidates.has_bass else None

    def _struck(self, place: int) -> NDArray[np.bool_]:
        """Whether any note, the bass included, has a pitch class."""
        upper = self.times[:, place] > 0
        return upper if self.bass is None else upper | (self.bass == place)

    def _lacking(self, groups: Iterable[Iterable[str]]) -> Counts:
        """How many groups of degrees have no degree that sounds."""
        found = np.zeros(len(self.candidates), np.int32)
        for group in groups:
            places = _classes(group)
            found += ~np.logical_or.reduce([self._struck(place) for place in places])
        return found

    def tones(self, wants: Wants) -> dict[str, Counts]:
        """Prices of the degrees that sound and those that are missing."""
        of, times = self.of, self.times
        guides = _classes((of.third, of.seventh))
        doubled = np.maximum(times[:, guides] - 1, 0).sum(axis=1)
        distinct = (times > 0).sum(axis=1)
        room = np.minimum(self.candidates.sizes, most_classes(of) - (of.in_bass is not None))
        ninths = {"b9", "#9"} <= set(of.pool)
        stands_in = self._stands_in()
        return {
            "guide-tone-doubled": doubled * (not of.is_diminished_seventh),
            "guide-tone-missing": self._lacking(_singly(of.third, of.seventh)) - stands_in,
            "sixth-for-seventh": stands_in,
            "written-degree-missing": self._lacking(
                [of.required] if of.by_choice and of.required else _singly(*of.required)
            ),
            "pitch-class-missing": np.maximum(room - distinct, 0),
            "context-colour-missing": np.minimum(
                self._lacking(satisfiable_wants(of, wants)), MOST_WANTS
            ),
            "fifth-under-altered-ninths": ninths
            & (times[:, _classes(("b9", "#9", "5"))] > 0).all(axis=1),
        }

    def _stands_in(self) -> Counts:
        """Whether a 6 sounds for a seventh that does not."""
        seventh = self.of.seventh
        if self.of.sixth is None or seventh is None:
            return np.zeros(len(self.candidates), np.int32)
        missing = ~self._struck(DEGREES[seventh])
        return (missing & (self.times[:, _SIXTH] > 0)).astype(np.int32)

    def intervals(self) -> dict[str, Counts]:
        """Prices of small intervals."""
        notes, upper = self.candidates.notes, self.candidates.upper
        low, high = upper[:, :-1], upper[:, 1:]
        at_root = (high - low == 1) & (self.above[:, 1:] <= 1)
        close = (upper[:, 2:] >= 0) & (upper[:, 2:] - upper[:, :-2] <= 4)
        left, struck = self.candidates.left, (notes >= 0).sum(axis=1)
        rows, shared = np.arange(len(notes)), (left > 0) & (left < struck)
        seam = np.where(shared, left, 1) if notes.shape[1] > 1 else np.zeros(len(notes), int)
        between = notes[rows, seam] - notes[rows, seam - 1] == 1
        return {
            "cluster": close.sum(axis=1),
            "half-step-at-root": at_root.sum(axis=1),
            "half-step-between-hands": shared & between,
        }

    def places(self, home: int) -> dict[str, Counts]:
        """Prices of register."""
        upper, sizes = self.candidates.upper, self.candidates.sizes.astype(np.int32)
        total = np.where(upper >= 0, upper, 0).sum(axis=1, dtype=np.int32)
        beyond = np.abs(total - sizes * home) - sizes * HOME_BAND
        nothing = np.zeros(len(upper), np.int32)
        gap = third = nothing
        if self.bass is not None:
            gap = upper[:, 0] - self.candidates.notes[:, 0] - 12
            place = DEGREES.get(self.of.third or "")
            if place in (3, 4):
                third = (self.bass == place) * self.times[:, place]
        return {
            "register": np.maximum(beyond, 0) // np.maximum(sizes, 1),
            "high-top-note": np.maximum(upper.max(axis=1) - home - COMFORTABLE_TOP, 0),
            "gap-over-bass": np.maximum(gap, 0) // 2,
            "bass-third-doubled": third,
        }


def satisfiable_wants(of: AvailableTones, wants: Wants) -> list[tuple[str, ...]]:
    """The groups of `wants` that the chord can satisfy."""
    can = set(_classes(of.pool))
    return [group for group in wants if not can.isdisjoint(_classes(group))]


@lru_cache(maxsize=4096)
def most_classes(of: AvailableTones) -> int:
    """The most pitch classes of a chord that agree with each other; four where it is complete.

    >>> from shortway.core.symbols.parser import parse
    >>> from shortway.core.voicings.available_tones import available_tones
    >>> [most_classes(available_tones(parse(s).content, ())) for s in ("C", "C9", "Bdim7")]
    [3, 5, 4]
    """
    if of.is_diminished_seventh:
        return 4
    for size in range(len(of.pool), 1, -1):
        if any(not of.clashes(degrees) for degrees in combinations(of.pool, size)):
            return size
    return len(of.pool)
