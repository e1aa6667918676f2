"""Move costs: motion and the prices of a move, from every voicing of one chord to the next.

Knows voicings as arrays of MIDI numbers, and of two chords only what a `ChordChange` says.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Cache
from shortway.core.cancellation import checkpoint
from shortway.core.theory.chord import Chord
from shortway.core.voice_leading.distance import Matrix, motion_between
from shortway.core.voicings.candidate_arrays import Candidates, Notes

#: Degrees that suspend a third.
_FOURTHS: Final = ("4", "11")


class ChordChange(NamedTuple):
    """What a move from one chord to another costs beyond its motion.

    `unheard`, `held`, `unresolved`: prices in semitones, 0 where they cannot apply. `fourth`: the
    pitch class of the suspended 4, where one is to be resolved.
    """

    unheard: int = 0
    held: int = 0
    unresolved: int = 0
    fourth: int | None = None

    def price(self, counts: MoveCounts) -> Matrix:
        """Semitones of all prices together, of the shape of the counts: (from, to) or (pairs,)."""
        found = self.held * counts.held + self.unheard * counts.unheard
        if self.fourth is not None:
            found = found + self.unresolved * counts.unresolved
        return np.asarray(found, np.int32)


NO_CHANGE: Final = ChordChange()


class MoveCounts(NamedTuple):
    """How often each price of a move applies, in the order of `settings.prices.MOVE_PRICES`."""

    unheard: NDArray[np.integer]
    held: NDArray[np.integer]
    unresolved: NDArray[np.integer]


def chord_change(
    before: tuple[Chord, Candidates], after: tuple[Chord, Candidates], prices: ChordChange
) -> ChordChange:
    """What changes from one chord to the next; `prices` are those of any change."""
    (old, old_of), (new, new_of) = before, after
    if old.root_pc != new.root_pc:
        return prices
    if old.content.suffix == new.content.suffix:
        return NO_CHANGE
    suspended = old_of.available.third in _FOURTHS and new_of.available.third == "3"
    if not (suspended and prices.unresolved):
        return prices
    return prices._replace(fourth=((old.root_pc or 0) + 5) % 12)


def counts_between(a: Candidates, b: Candidates, change: ChordChange) -> MoveCounts:
    """How often each price applies from each of `a` to each of `b`; shapes (from, to)."""
    if a.voices is not None and a.voices == b.voices and a.has_bass == b.has_bass:
        return counts_alike(a.notes[:, None], b.notes[None, :], change, int(a.has_bass))
    held = a.notes.max(axis=1)[:, None] == b.notes.max(axis=1)[None, :]
    rows, columns = np.nonzero(held & (a.sizes[:, None] == b.sizes[None, :]))
    unheard, unresolved = np.zeros(held.shape, np.int32), _unlike(a, b, change.fourth)
    width = min(a.upper.shape[1], b.upper.shape[1])
    some = counts_alike(a.upper[rows, :width], b.upper[columns, :width], change, 0)
    unheard[rows, columns] = some.unheard
    if a.has_bass and b.has_bass:
        unheard &= a.notes[:, :1] == b.notes[:, 0]
    return MoveCounts(unheard, held, unresolved)


def counts_alike(a: Notes, b: Notes, change: ChordChange, bass: int) -> MoveCounts:
    """The same for voicings of one size.

    `a` and `b` are of shapes (..., voices) that broadcast; the counts have that shape without
    voices. `bass` is the number of bass notes that come before the upper ones.
    """
    voices = a.shape[-1]
    held = a[..., -1] == b[..., -1]
    unheard = held.copy()
    for voice in range(voices - 1):
        unheard &= a[..., voice] == b[..., voice]
    unresolved = np.zeros(held.shape, np.int32)
    if change.fourth is not None:
        for voice in range(bass, voices):
            own, after = a[..., voice], b[..., voice]
            unresolved += (own >= 0) & (own % 12 == change.fourth) & (after != own - 1)
    return MoveCounts(unheard, held, unresolved)


def _unlike(a: Candidates, b: Candidates, fourth: int | None) -> Matrix:
    """Suspended notes that do not fall; where sizes differ, into any voice a half step lower."""
    found = np.zeros((len(a), len(b)), np.int32)
    if fourth is None:
        return found
    alike = a.sizes[:, None] == b.sizes[None, :]
    for voice in range(a.upper.shape[1]):
        own = a.upper[:, voice]
        falls = ((own - 1)[:, None, None] == b.upper[None, :, :]).any(axis=2)
        if voice < b.upper.shape[1]:
            falls = np.where(alike, (own - 1)[:, None] == b.upper[None, :, voice], falls)
        found += ((own >= 0) & (own % 12 == fourth))[:, None] & ~falls
    return found


def move_costs(a: Candidates, b: Candidates, split_cost: int, change: ChordChange) -> Matrix:
    """Motion and prices from each of `a` to each of `b`; int32 of shape (from, to).

    Cached where other requests use the same candidates.
    """
    if not (a.shared and b.shared):
        return _move_costs(a, b, split_cost, change)
    key = a.number, b.number, split_cost, change
    return _MOVE_COSTS.get(key, lambda: _move_costs(a, b, split_cost, change))


_MOVE_COSTS: Final[Cache[tuple[int, int, int, ChordChange], Matrix]] = Cache(
    "move costs", 16 << 20, lambda costs: costs.nbytes + 300
)


def _move_costs(a: Candidates, b: Candidates, split_cost: int, change: ChordChange) -> Matrix:
    checkpoint()
    costs = motion_between(a, b, split_cost)
    if change != NO_CHANGE:
        costs += change.price(counts_between(a, b, change))
    return costs
