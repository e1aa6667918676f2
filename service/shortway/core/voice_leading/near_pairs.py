"""Near pairs: the moves of least motion between two steps of thousands of voicings.

Knows candidates as arrays and the prices of moves; `voice_leading.pruning` builds its bounds on it.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Cache
from shortway.core.cancellation import checkpoint
from shortway.core.shortest_path.least_cost import NEVER
from shortway.core.voice_leading.distance import Matrix
from shortway.core.voice_leading.move_costs import NO_CHANGE, ChordChange, counts_alike
from shortway.core.voicings.candidate_arrays import Candidates, Notes

Bound = NDArray[np.int32]
Index = NDArray[np.intp]

#: Rows of a block, so that its tables stay in the processor's cache.
_BLOCK: Final = 64


@dataclass(frozen=True, eq=False, slots=True)
class NearPairs:
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
        """Least sum of cost and bound `ahead`, or a lower bound of it where far pairs matter.

        `ahead` is of shape (columns,), the result of shape (rows,).
        """
        least = np.full(len(self.starts) - 1, ahead.min() + self.radius + 1, np.int32)
        rows = np.nonzero(self.starts[1:] > self.starts[:-1])[0]
        if len(rows):
            sums = ahead[self.columns] + self.cost
            np.minimum.reduceat(sums, self.starts[rows], out=sums[: len(rows)])
            least[rows] = np.minimum(least[rows], sums[: len(rows)])
        return least

    def reach(self, rows: Index, so_far: Bound, width: int) -> Bound:
        """Least cost from `rows`, which cost `so_far`, to each column over near pairs.

        `rows` and `so_far` are of shape (rows,), the result of shape (width,).
        """
        counts = self.starts[rows + 1] - self.starts[rows]
        first = np.repeat(self.starts[rows] - np.cumsum(counts) + counts, counts)
        pairs = first + np.arange(len(first))
        found = np.full(width, NEVER, np.int32)
        sums = np.repeat(so_far, counts) + self.cost[pairs]
        np.minimum.at(found, self.columns[pairs], sums)
        return found


_NEAR: Final[Cache[tuple[int, int, int, ChordChange], NearPairs]] = Cache(
    "near pairs", 12 << 20, lambda pairs: pairs.nbytes + 800
)


def near(a: Candidates, b: Candidates, radius: int, change: ChordChange = NO_CHANGE) -> NearPairs:
    """The pairs of `a` and `b`, all of the same size, within `radius` semitones of motion."""
    if not (a.shared and b.shared):
        return _near(a, b, radius, change)
    return _NEAR.get((a.number, b.number, radius, change), lambda: _near(a, b, radius, change))


def _near(of_a: Candidates, of_b: Candidates, radius: int, change: ChordChange) -> NearPairs:
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
        apart = _motion(low[:, start:stop], high[:, first:last])
        rows, columns = np.nonzero(apart <= radius)
        parts.append((order_a[rows + start], order_b[columns + first], apart[rows, columns]))
    rows, columns, apart = (np.concatenate(part) for part in zip(*parts, strict=True))
    order = np.argsort(rows, kind="stable")
    rows, columns, cost = rows[order], columns[order], apart[order].astype(np.int32)
    cost += _prices(of_a.notes[rows], of_b.notes[columns], change, of_a.has_bass)
    starts = np.concatenate([[0], np.cumsum(np.bincount(rows, minlength=len(a)))])
    narrow_type = np.uint16 if len(b) <= 1 << 16 else np.uint32
    return NearPairs(radius, starts, columns.astype(narrow_type), cost.astype(np.uint16))


def _prices(a: Notes, b: Notes, change: ChordChange, has_bass: bool) -> Matrix | int:
    """Prices of moves between voicings of one size, voices along the last axis."""
    if change == NO_CHANGE:
        return 0
    return change.price(counts_alike(a, b, change, int(has_bass)))


def _motion(a: Notes, b: Notes) -> Notes:
    """Motion of every pair, voices along axis 0; int16, shape (a, b)."""
    apart = np.zeros((a.shape[1], b.shape[1]), np.int16)
    for voice in range(len(a)):
        apart += np.abs(a[voice, :, None] - b[voice, None, :])
    return apart
