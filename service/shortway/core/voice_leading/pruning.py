"""Narrowing: of thousands of candidates a step, those that the best path may pass through.

Knows candidates as arrays. A dense table between two steps of several thousand voicings is never
made. Instead:

1. `near` lists, for two steps, the pairs of voicings within a radius r, found in blocks of voicings
   whose sums of notes differ by no more than r (no motion is less than the difference of the sums).
2. A pass from the end gives each voicing a lower bound of the motion that remains: the least over
   its near pairs, but no more than r + 1 and the least bound of the next step, since a pair that is
   not near has a motion of at least r + 1. The bound is exact wherever the best way on is near.
3. A narrow pass forward, a few voicings wide and led by those bounds, finds a good path. Its motion
   is an upper bound U of the optimum.
4. A pass from the start gives each voicing the exact motion up to it, over near pairs and, where
   they could matter, far ones, as long as that and the lower bound of the rest do not exceed U.

Proof of exactness. Let a voicing v be dropped. Then (motion up to v) + (lower bound from v) > U,
or the motion up to v was not reached because every way to v passes a voicing of that kind. In both
cases every path through v has a motion greater than U, which some path attains; so no path of
least motion passes through v, and neither does the best path in the order of preference, which is
a path of least motion. What is left is small, and is solved exactly by `shortest_path.kernel`.

A loop is a chain that begins and ends in one set S of voicings of its first step; leaving out that
it must end where it began only lowers the bounds, so the same proof holds for every S.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Cache
from shortway.core.cancellation import checkpoint
from shortway.core.voicings.model import Candidates, Notes

Bound = NDArray[np.int32]
Index = NDArray[np.intp]
Mask = NDArray[np.bool_]

#: A motion that no path has.
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
    starts : int64, shape (from + 1,)
        Where the pairs of each row begin.
    columns : uint16 or uint32, shape (pairs,)
    motion : uint8, shape (pairs,)
        Semitones.
    """

    radius: int
    starts: NDArray[np.int64]
    columns: NDArray[np.uint16 | np.uint32]
    motion: NDArray[np.uint8]

    @property
    def nbytes(self) -> int:
        """Bytes of the arrays."""
        return self.starts.nbytes + self.columns.nbytes + self.motion.nbytes

    def least(self, ahead: Bound) -> Bound:
        """Least of motion and bound `ahead` over the pairs of each row; a far pair bounds it."""
        least = np.full(len(self.starts) - 1, ahead.min() + self.radius + 1, np.int32)
        rows = np.nonzero(self.starts[1:] > self.starts[:-1])[0]
        if len(rows):
            sums = ahead[self.columns] + self.motion
            np.minimum.reduceat(sums, self.starts[rows], out=sums[: len(rows)])
            least[rows] = np.minimum(least[rows], sums[: len(rows)])
        return least

    def reach(self, rows: Index, so_far: Bound, width: int) -> Bound:
        """Least motion to each of `width` columns from `rows`, over near pairs."""
        counts = self.starts[rows + 1] - self.starts[rows]
        first = np.repeat(self.starts[rows] - np.cumsum(counts) + counts, counts)
        pairs = first + np.arange(len(first))
        found = np.full(width, NEVER, np.int32)
        sums = np.repeat(so_far[rows], counts) + self.motion[pairs]
        np.minimum.at(found, self.columns[pairs], sums)
        return found


_REMEMBERED: Final[Cache[tuple[Candidates, Candidates, int], Near]] = Cache(
    "near pairs", 96 << 20, lambda pairs: pairs.nbytes
)


def near(a: Candidates, b: Candidates, radius: int) -> Near:
    """The pairs of `a` and `b`, voicings of one size, within `radius` semitones of motion."""
    if not (a.shared and b.shared):
        return _near(a.upper, b.upper, radius)
    return _REMEMBERED.get((a, b, radius), lambda: _near(a.upper, b.upper, radius))


def _near(a: Notes, b: Notes, radius: int) -> Near:
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
    starts = np.concatenate([[0], np.cumsum(np.bincount(rows, minlength=len(a)))])
    narrow_type = np.uint16 if len(b) <= 1 << 16 else np.uint32
    return Near(radius, starts, columns[order].astype(narrow_type), apart[order].astype(np.uint8))


def _apart(a: Notes, b: Notes) -> Notes:
    """Motion of every pair, voices along axis 0; int16, shape (a, b)."""
    apart = np.zeros((a.shape[1], b.shape[1]), np.int16)
    for voice in range(len(a)):
        apart += np.abs(a[voice, :, None] - b[voice, None, :])
    return apart


# --- the chain -----------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False, slots=True)
class Chain:
    """Steps in a row, to be narrowed.

    Attributes
    ----------
    steps : sequence of Candidates
        All of one size; in a loop the first stands at the end again.
    allowed : sequence of bool array
        Which candidates of each step the request allows.
    entry : int32 array
        Motion into each candidate of the first step.
    """

    steps: Sequence[Candidates]
    allowed: Sequence[Mask]
    entry: Bound

    def near(self, step: int, radius: int) -> Near:
        """The near pairs from `step` to the next."""
        checkpoint()
        return near(self.steps[step], self.steps[step + 1], radius)

    def to_go(self, radii: Sequence[int]) -> list[Bound]:
        """Lower bounds of the motion from every candidate to the end."""
        bounds = [np.where(self.allowed[-1], np.int32(0), np.int32(NEVER))]
        for step in range(len(self.steps) - 2, -1, -1):
            least = self.near(step, radii[step]).least(bounds[-1])
            bounds.append(np.where(self.allowed[step], least, np.int32(NEVER)))
        return bounds[::-1]

    def exact(self, step: int, rows: Index, so_far: Bound, columns: Index) -> Bound:
        """Least motion to each of `columns` of the next step from `rows`, near or far."""
        checkpoint()
        a, b = self.steps[step].upper[rows], self.steps[step + 1].upper[columns]
        apart = _apart(np.ascontiguousarray(a.T), np.ascontiguousarray(b.T))
        return np.asarray((apart + so_far[rows, None]).min(axis=0))

    def onward(
        self, step: int, rows: Index, so_far: Bound, rest: Bound, most: int, radius: int
    ) -> Bound:
        """Least motion up to each candidate of the next step from `rows`.

        Exact wherever that motion and `rest` do not exceed `most`.
        """
        found = self.near(step, radius).reach(rows, so_far, len(rest))
        spare = most - int(so_far[rows].min()) - (radius + 1)
        far = np.nonzero(rest <= spare)[0]
        if len(far):
            found[far] = np.minimum(found[far], self.exact(step, rows, so_far, far))
        return found


def prune(chain: Chain, rest: Sequence[Bound], radii: Sequence[int]) -> list[Index]:
    """A few candidates a step, led by the bounds: enough for a good path."""
    so_far = chain.entry
    kept = [_best(so_far + rest[0], NARROW)]
    for step in range(len(chain.steps) - 1):
        found = chain.near(step, radii[step]).reach(kept[-1], so_far, len(rest[step + 1]))
        ahead = np.union1d(
            _best(found + rest[step + 1], NARROW), _best(rest[step + 1], NARROW // 4)
        )
        exact = chain.exact(step, kept[-1], so_far, ahead)
        so_far = np.full(len(found), NEVER, np.int32)
        so_far[ahead] = exact
        kept.append(ahead)
    return kept


def _best(bounds: Bound, width: int) -> Index:
    if len(bounds) > width:
        best = np.argpartition(bounds, width - 1)[:width]
    else:
        best = np.arange(len(bounds))
    return np.sort(best[bounds[best] < NEVER])


def survivors(chain: Chain, rest: Sequence[Bound], radii: Sequence[int], most: int) -> list[Index]:
    """The candidates of each step that a path of at most `most` semitones may pass through.

    May be empty where no such path exists.
    """
    so_far = chain.entry
    kept = [_within(so_far, rest[0], most)]
    for step in range(len(chain.steps) - 1):
        if len(kept[-1]) == 0:
            return [kept[-1]] * len(chain.steps)
        so_far = chain.onward(step, kept[-1], so_far, rest[step + 1], most, radii[step])
        kept.append(_within(so_far, rest[step + 1], most))
    return kept


def _within(so_far: Bound, rest: Bound, most: int) -> Index:
    return np.nonzero(so_far.astype(np.int64) + rest <= most)[0]
