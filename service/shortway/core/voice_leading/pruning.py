"""Pruning: the candidates that the best path may pass through, of all there are.

Knows candidates as arrays. The cost of a path is a sum of terms that are never negative: the
prices of its voicings, and for each move its motion and the prices of that move. A `Chain` bounds
the cost that remains from below:

* A `DenseChain` holds the cost of every move; its bounds are exact.
* A `NearChain` holds none, for steps of thousands of candidates, and lists instead, for two steps,
  the pairs of voicings whose motion is within a radius r, found in blocks of voicings whose sums of
  notes differ by no more than r (no motion is less than the difference of the sums). A move that
  is not near has a motion of at least r + 1 and prices of at least 0. So the bound of a voicing is
  its own price, and the least over its near pairs of move and bound, but no more than r + 1 and the
  least bound of the next step. It is exact wherever the best way on is near.

A path that is found somehow, `prune` helps to find one, has a cost U that the optimum does not
exceed. `survivors` passes from the start and gives each voicing the exact cost up to it, over near
pairs and, where they could matter, far ones, as long as that and the lower bound of the rest do
not exceed U.

Proof of exactness. Let a voicing v be dropped. Then (cost up to v) + (lower bound from v on) > U,
or the cost up to v was not reached because every way to v passes a voicing of that kind; prices
are never negative, so what is added later does not make it less. In both cases every path through
v costs more than U, which some path attains; so no path of least cost passes through v, and
neither does the best path in the order of preference, which is a path of least cost. What is left
is small, and is solved exactly by `shortest_path.kernel`.

A loop is a chain that begins and ends in one set S of voicings of its first step, whose price is
paid at the beginning alone; leaving out that it must end where it began only lowers the bounds, so
the same proof holds for every S.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Cache
from shortway.core.cancellation import checkpoint
from shortway.core.voice_leading.distance import Matrix
from shortway.core.voice_leading.move_costs import NO_CHANGE, ChordChange, counts_alike
from shortway.core.voicings.model import Candidates, Notes

Bound = NDArray[np.int32]
Index = NDArray[np.intp]
Mask = NDArray[np.bool_]

#: A cost that no path has, and four of them fit 32 bits.
NEVER: Final = 1 << 28
#: Voicings a step of the narrow pass.
NARROW: Final = 48
#: Rows of a block, so that its tables stay in the processor's cache.
_BLOCK: Final = 64


@dataclass(frozen=True, eq=False, slots=True)
class Near:
    """The pairs of voicings of two steps within a radius, row by row.

    Attributes
    ----------
    radius : int
        Semitones of motion.
    starts : int64, shape (from + 1,)
        Where the pairs of each row begin.
    columns : uint16 or uint32, shape (pairs,)
    cost : uint16, shape (pairs,)
        Motion and prices of the move.
    """

    radius: int
    starts: NDArray[np.int64]
    columns: NDArray[np.uint16 | np.uint32]
    cost: NDArray[np.uint16]

    @property
    def nbytes(self) -> int:
        """Bytes of the arrays."""
        return self.starts.nbytes + self.columns.nbytes + self.cost.nbytes

    def least(self, ahead: Bound) -> Bound:
        """Least of cost and bound `ahead`, shape (to,), over each row's pairs; shape (from,).

        A far pair bounds it.
        """
        least = np.full(len(self.starts) - 1, ahead.min() + self.radius + 1, np.int32)
        rows = np.nonzero(self.starts[1:] > self.starts[:-1])[0]
        if len(rows):
            sums = ahead[self.columns] + self.cost
            np.minimum.reduceat(sums, self.starts[rows], out=sums[: len(rows)])
            least[rows] = np.minimum(least[rows], sums[: len(rows)])
        return least

    def reach(self, rows: Index, spent: Bound, width: int) -> Bound:
        """Least cost to each column from `rows`, over near pairs; shape (width,)."""
        counts = self.starts[rows + 1] - self.starts[rows]
        first = np.repeat(self.starts[rows] - np.cumsum(counts) + counts, counts)
        pairs = first + np.arange(len(first))
        found = np.full(width, NEVER, np.int32)
        sums = np.repeat(spent, counts) + self.cost[pairs]
        np.minimum.at(found, self.columns[pairs], sums)
        return found


_NEAR: Final[Cache[tuple[Candidates, Candidates, int, ChordChange], Near]] = Cache(
    "near pairs", 96 << 20, lambda pairs: pairs.nbytes
)


def near(a: Candidates, b: Candidates, radius: int, change: ChordChange = NO_CHANGE) -> Near:
    """The pairs of `a` and `b`, voicings of one size, within `radius` semitones of motion."""
    if not (a.shared and b.shared):
        return _near(a, b, radius, change)
    return _NEAR.get((a, b, radius, change), lambda: _near(a, b, radius, change))


def _near(of_a: Candidates, of_b: Candidates, radius: int, change: ChordChange) -> Near:
    a, b = of_a.upper, of_b.upper
    order_a, order_b = (np.argsort(x.sum(axis=1), kind="stable") for x in (a, b))
    low, high = (np.ascontiguousarray(x[o].T) for x, o in ((a, order_a), (b, order_b)))
    sums_a, sums_b = (x.sum(axis=0, dtype=np.int32) for x in (low, high))
    parts = []
    for start in range(0, len(a), _BLOCK):
        checkpoint()
        stop = min(start + _BLOCK, len(a))
        first = int(np.searchsorted(sums_b, sums_a[start] - radius))
        last = int(np.searchsorted(sums_b, sums_a[stop - 1] + radius, side="right"))
        apart = _apart(low[:, start:stop], high[:, first:last])
        rows, columns = np.nonzero(apart <= radius)
        parts.append((order_a[rows + start], order_b[columns + first], apart[rows, columns]))
    rows, columns, apart = (np.concatenate(part) for part in zip(*parts, strict=True))
    order = np.argsort(rows, kind="stable")
    rows, columns, cost = rows[order], columns[order], apart[order].astype(np.int32)
    cost += _prices(of_a.notes[rows], of_b.notes[columns], change, of_a.has_bass)
    starts = np.concatenate([[0], np.cumsum(np.bincount(rows, minlength=len(a)))])
    narrow_type = np.uint16 if len(b) <= 1 << 16 else np.uint32
    return Near(radius, starts, columns.astype(narrow_type), cost.astype(np.uint16))


def _prices(a: Notes, b: Notes, change: ChordChange, has_bass: bool) -> Matrix | int:
    """Prices of moves between voicings of one size, voices along the last axis."""
    if change == NO_CHANGE:
        return 0
    return change.price(counts_alike(a, b, change, int(has_bass)))


def _apart(a: Notes, b: Notes) -> Notes:
    """Motion of every pair, voices along axis 0; int16, shape (a, b)."""
    apart = np.zeros((a.shape[1], b.shape[1]), np.int16)
    for voice in range(len(a)):
        apart += np.abs(a[voice, :, None] - b[voice, None, :])
    return apart


# --- chains --------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Chain(ABC):
    """Steps in a row whose candidates are to be pruned; in a loop the first stands last again.

    Attributes
    ----------
    prices : sequence of int32 arrays, each of shape (candidates,)
        Of each step's voicings, `NEVER` where the request does not allow one; zeros where a loop
        comes back.
    entry : int32 array
        Motion into each candidate of the first step.
    """

    prices: Sequence[Bound]
    entry: Bound

    @abstractmethod
    def ahead(self, step: int, rest: Bound) -> Bound:
        """Lower bound of move and `rest` from `step` to the next step; shape (candidates,)."""

    @abstractmethod
    def onward(self, step: int, rows: Index, spent: Bound, rest: Bound, most: int) -> Bound:
        """Least cost up to the next step, from `rows` that have `spent`; shape (candidates,).

        Exact wherever that cost and `rest` do not exceed `most`.
        """

    def to_go(self) -> list[Bound]:
        """Lower bounds of the cost to the end, own price included; shape (candidates,) a step."""
        bounds = [self.prices[-1]]
        for step in range(len(self.prices) - 2, -1, -1):
            here = self.ahead(step, bounds[-1])
            here += self.prices[step]
            bounds.append(np.minimum(here, NEVER, out=here))
        return bounds[::-1]


@dataclass(frozen=True, eq=False)
class DenseChain(Chain):
    """A chain with the cost of every move: int32 arrays of shape (candidates, candidates)."""

    moves: Sequence[Matrix]

    def ahead(self, step: int, rest: Bound) -> Bound:
        """Exact; shape (candidates,)."""
        found: Bound = np.minimum.reduce(self.moves[step] + rest, axis=1)
        return found

    def onward(self, step: int, rows: Index, spent: Bound, rest: Bound, most: int) -> Bound:
        """Exact everywhere; shape (candidates,)."""
        found: Bound = (self.moves[step][rows] + spent[:, None]).min(axis=0)
        return found


@dataclass(frozen=True, eq=False)
class NearChain(Chain):
    """A chain with near pairs alone: all candidates of one size.

    Attributes
    ----------
    steps : sequence of Candidates
    changes : sequence of ChordChange
        From each step to the next.
    radius : int
    """

    steps: Sequence[Candidates]
    changes: Sequence[ChordChange]
    radius: int

    def near(self, step: int) -> Near:
        """The near pairs from `step` to the next."""
        checkpoint()
        return near(self.steps[step], self.steps[step + 1], self.radius, self.changes[step])

    def ahead(self, step: int, rest: Bound) -> Bound:
        """Exact where the best move is near; shape (candidates,)."""
        return self.near(step).least(rest)

    def exact(self, step: int, rows: Index, spent: Bound, columns: Index) -> Bound:
        """Least cost from `rows` to `columns` of the next step, near or far; shape (columns,)."""
        checkpoint()
        a, b = self.steps[step].take(rows), self.steps[step + 1].take(columns)
        apart = _apart(np.ascontiguousarray(a.upper.T), np.ascontiguousarray(b.upper.T))
        prices = _prices(a.notes[:, None], b.notes[None], self.changes[step], a.has_bass)
        return np.asarray((apart + prices + spent[:, None]).min(axis=0), np.int32)

    def onward(self, step: int, rows: Index, spent: Bound, rest: Bound, most: int) -> Bound:
        """Over near pairs, and over far ones where they could matter; shape (candidates,)."""
        found = self.near(step).reach(rows, spent, len(rest))
        spare = most - int(spent.min()) - (self.radius + 1)
        far = np.nonzero(rest <= spare)[0]
        if len(far):
            found[far] = np.minimum(found[far], self.exact(step, rows, spent, far))
        return found


def prune(chain: NearChain, rest: Sequence[Bound]) -> list[Index]:
    """A few candidates a step, led by the bounds of shape (candidates,): enough for a good path."""
    so_far = chain.entry
    kept = [_best(so_far + rest[0], NARROW)]
    for step in range(len(chain.steps) - 1):
        spent = (so_far + chain.prices[step])[kept[-1]]
        found = chain.near(step).reach(kept[-1], spent, len(rest[step + 1]))
        ahead = np.union1d(
            _best(found + rest[step + 1], NARROW), _best(rest[step + 1], NARROW // 4)
        )
        so_far = np.full(len(found), NEVER, np.int32)
        so_far[ahead] = chain.exact(step, kept[-1], spent, ahead)
        kept.append(ahead)
    return kept


def _best(bounds: Bound, width: int) -> Index:
    if len(bounds) > width:
        best = np.argpartition(bounds, width - 1)[:width]
    else:
        best = np.arange(len(bounds))
    return np.sort(best[bounds[best] < NEVER])


def survivors(chain: Chain, rest: Sequence[Bound], most: int) -> list[Index]:
    """The candidates of each step that a path of a cost of at most `most` may pass through.

    One array of shape (survivors,) a step; may be empty where no such path exists.
    """
    so_far = chain.entry
    kept = [np.nonzero(so_far + rest[0] <= most)[0]]
    for step in range(len(chain.prices) - 1):
        rows = kept[-1]
        if len(rows) == 0:
            return [rows] * len(chain.prices)
        spent = so_far[rows] + chain.prices[step][rows]
        so_far = chain.onward(step, rows, spent, rest[step + 1], most)
        kept.append(np.nonzero(so_far + rest[step + 1] <= most)[0])
    return kept
