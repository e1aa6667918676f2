"""Weights: cost, what goes against a top line, and changed steps as one number.

Knows problems. A semitone against the line counts more than any path costs, and a changed step more
than any line and cost, so that one number compares them in this order.
"""

from __future__ import annotations

from functools import cached_property
from typing import Final

import numpy as np

from shortway.core.shortest_path.least_cost import NEVER, NEVER_64
from shortway.core.shortest_path.point_problem import Integers
from shortway.core.solver.problem import PathProblem
from shortway.core.voice_leading.distance import Matrix, Moves
from shortway.core.voice_leading.objective import against
from shortway.core.voicings.candidate_arrays import Candidates

#: A bound of all weights of the longest chart fits 64 bits; most requests fit 32.
BITS: Final = (32, 64)


class Weights:
    """The weights of one problem in 32 or 64 bits, `never` where there is no way.

    Attributes
    ----------
    unit : int
        More than any path costs.
    semitone : int
        What each semitone against the top line counts; 0 without a line.
    """

    def __init__(self, problem: PathProblem, bits: int) -> None:
        self.problem, self.bits = problem, bits
        self.kind: type[np.int32 | np.int64] = np.int32 if bits == 32 else np.int64
        self.never = NEVER if bits == 32 else NEVER_64
        self.semitone = 0 if problem.top_line == "free" else self.unit
        self._known: dict[tuple[int, bool], Integers] = {}

    @cached_property
    def unit(self) -> int:
        return 1 + self.problem.most_cost()

    def cost(self, weight: int) -> int:
        """The cost of a path of some weight."""
        return weight % (self.problem.change_weight or self.never) % self.unit

    def prices(self, k: int) -> Integers:
        """Of the candidates of layer `k`; shape (candidates,)."""
        price, changed = self.problem.costs[k].price, self.problem.costs[k].changed
        if changed is None:
            return price.astype(self.kind, copy=False)
        weighted = price + changed.astype(np.int64) * self.problem.change_weight
        return np.asarray(np.minimum(weighted, self.never), self.kind)

    def moves(self, a: int, b: int) -> Integers:
        """Of the moves from layer `a` to layer `b`; shape (candidates of `a`, of `b`).

        Seams between the same candidates share one array.
        """
        problem, costs = self.problem, self.problem.move_costs(a, b)
        pair, anew = (problem.candidates[a], problem.candidates[b]), problem.begins_anew(b)
        key = id(costs), anew
        if key not in self._known:
            self._known[key] = self._weighted(costs, *pair, "free" if anew else problem.top_line)
        forbidden = problem.forbidden(a, b)
        if forbidden is None:
            return self._known[key]
        return np.where(forbidden, self.kind(self.never), self._known[key])

    def into(self, moves: Moves) -> Integers:
        """Of the moves from the notes that sound, which are `moves`; shape (1, candidates)."""
        problem = self.problem
        assert problem.before is not None
        return self._weighted(moves.motion, problem.before, problem.candidates[0], problem.top_line)

    def _weighted(self, costs: Matrix, a: Candidates, b: Candidates, top_line: str) -> Integers:
        goes_against = against(a, b, top_line)
        if goes_against is None:
            return costs.astype(self.kind, copy=False)
        weighted = costs + goes_against * self.semitone
        return np.asarray(np.minimum(weighted, self.never), self.kind)
