"""Pruning: the candidates that the best path may pass through, of all there are.

Knows candidates as arrays. The cost of a path is a sum of terms that are never negative: the
prices of its voicings, and for each move its motion and the prices of that move. A `NearChain`
bounds the cost that remains from below. It holds no cost of every move, since steps have thousands
of candidates, and lists instead, for two steps, the pairs of voicings whose motion is within a
radius r, found in blocks of voicings whose sums of notes differ by no more than r (no motion is
less than the difference of the sums). A move that is not near has a motion of at least r + 1 and
prices of at least 0. So the bound of a voicing is its own price, and the least over its near pairs
of move and bound, but no more than r + 1 and the least bound of the next step. It is exact wherever
the best move is near.

Any path, such as one among the candidates that `prune` keeps, has a cost U that the optimum does
not exceed. `survivors` passes from the start and gives each voicing the exact cost up to it, over
near pairs and, where they could matter, far ones, as long as that and the lower bound of the rest
do not exceed U.

Proof of exactness. Let a voicing v be dropped. Then (cost up to v) + (lower bound from v on) > U,
or the cost up to v was not reached because every way to v passes a voicing of that kind; prices
are never negative, so what is added later does not make it less. In both cases every path through
v costs more than U, which some path attains; so no path of least cost passes through v, and
neither does the best path in the order of preference, which is a path of least cost. What is left
is small, and is solved exactly by `shortest_path.points`.

A loop is a chain that begins and ends in one set S of voicings of its first step, whose price is
paid at the beginning alone; leaving out that it must end where it began only lowers the bounds, so
the same proof holds for every S.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from shortway.core.cancellation import checkpoint
from shortway.core.shortest_path.least_cost import NEVER
from shortway.core.voice_leading.move_costs import ChordChange, move_costs
from shortway.core.voice_leading.near_pairs import Bound, Index, NearPairs, near
from shortway.core.voicings.candidate_arrays import Candidates

#: Candidates that `prune` keeps at each step.
NARROW: Final = 48


@dataclass(frozen=True, eq=False)
class NearChain:
    """Consecutive steps whose candidates are pruned; in a loop the first comes last again.

    All candidates have the same number of voices.

    Attributes
    ----------
    prices : sequence of int32 arrays, each of shape (candidates,)
        Of each step's voicings, `NEVER` where the request does not allow one; zeros where a loop
        returns to the first step.
    entry : int32, shape (candidates,)
        Motion into each candidate of the first step.
    steps : sequence of Candidates
    changes : sequence of ChordChange
        From each step to the next.
    radius : int
    """

    prices: Sequence[Bound]
    entry: Bound
    steps: Sequence[Candidates]
    changes: Sequence[ChordChange]
    radius: int

    def costs_to_go(self) -> list[Bound]:
        """Lower bounds of the cost from every candidate to the end, its own price included.

        One array of shape (candidates,) for each step; exact wherever the best moves are near.
        """
        bounds = [self.prices[-1]]
        for step in range(len(self.prices) - 2, -1, -1):
            here = self.near(step).least(bounds[-1])
            here += self.prices[step]
            bounds.append(np.minimum(here, NEVER, out=here))
        return bounds[::-1]

    def near(self, step: int) -> NearPairs:
        """The near pairs from `step` to the next."""
        checkpoint()
        return near(self.steps[step], self.steps[step + 1], self.radius, self.changes[step])

    def exact(self, step: int, rows: Index, so_far: Bound, columns: Index) -> Bound:
        """Least cost from `rows` to each of `columns` of the next step; shape (columns,)."""
        a, b = self.steps[step].take(rows), self.steps[step + 1].take(columns)
        costs = move_costs(a, b, 0, self.changes[step])
        return np.asarray((costs + so_far[:, None]).min(axis=0), np.int32)

    def forward(self, step: int, rows: Index, so_far: Bound, rest: Bound, most: int) -> Bound:
        """Least cost up to each candidate of the next step, from `rows` that cost `so_far`.

        Exact wherever that cost and `rest` do not exceed `most`. `rows` and `so_far` are of shape
        (rows,), `rest` and the result of shape (candidates of the next,).
        """
        found = self.near(step).reach(rows, so_far, len(rest))
        spare = most - int(so_far.min()) - (self.radius + 1)
        far = np.nonzero(rest <= spare)[0]
        if len(far):
            found[far] = np.minimum(found[far], self.exact(step, rows, so_far, far))
        return found


def prune(chain: NearChain, rest: Sequence[Bound]) -> list[Index]:
    """The most promising candidates of each step: enough for a good path.

    Parameters
    ----------
    chain : NearChain
    rest : sequence of int32 arrays, each of shape (candidates,)
        `NearChain.costs_to_go`.

    Returns
    -------
    list of intp arrays, each of shape (kept,)
    """
    so_far = chain.entry
    kept = [_best(so_far + rest[0], NARROW)]
    for step in range(len(chain.steps) - 1):
        paid = (so_far + chain.prices[step])[kept[-1]]
        found = chain.near(step).reach(kept[-1], paid, len(rest[step + 1]))
        ahead = np.union1d(
            _best(found + rest[step + 1], NARROW), _best(rest[step + 1], NARROW // 4)
        )
        so_far = np.full(len(found), NEVER, np.int32)
        so_far[ahead] = chain.exact(step, kept[-1], paid, ahead)
        kept.append(ahead)
    return kept


def _best(bounds: Bound, width: int) -> Index:
    if len(bounds) > width:
        best = np.argpartition(bounds, width - 1)[:width]
    else:
        best = np.arange(len(bounds))
    return np.sort(best[bounds[best] < NEVER])


def survivors(chain: NearChain, rest: Sequence[Bound], most: int) -> tuple[list[Index], int]:
    """The candidates of each step that a path of cost `most` or less may pass through.

    Parameters
    ----------
    chain : NearChain
    rest : sequence of int32 arrays, each of shape (candidates,)
        `NearChain.costs_to_go`.

    Returns
    -------
    kept : list of intp arrays, each of shape (kept,)
        Empty where no such path exists.
    beyond : int
        The least bound of those that are dropped: with a lower `most` no more survive.
    """
    so_far, beyond = chain.entry, NEVER
    kept: list[Index] = []
    for step in range(len(chain.prices)):
        if step:
            rows = kept[-1]
            paid = so_far[rows] + chain.prices[step - 1][rows]
            so_far = chain.forward(step - 1, rows, paid, rest[step], most)
        bounds = so_far + rest[step]
        kept.append(np.nonzero(bounds <= most)[0])
        beyond = min(beyond, int(bounds[bounds > most].min(initial=NEVER)))
        if len(kept[-1]) == 0:
            return [kept[-1]] * len(chain.prices), beyond
    return kept, beyond
