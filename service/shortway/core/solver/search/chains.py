"""Chains: a problem as rows of prices and costs of moves, for pruning.

Knows problems and pruning.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from shortway.core.shortest_path.least_cost import NEVER
from shortway.core.solver.problem import PathProblem
from shortway.core.voice_leading.near_pairs import Bound, Index
from shortway.core.voice_leading.pruning import NearChain


class Chains:
    """A problem and the candidates of each layer that are considered.

    All, or with `distinct` one of every set of notes. Their prices are `measured`: changed steps
    count, or not with `by_cost`.
    """

    def __init__(self, problem: PathProblem, *, distinct: bool, by_cost: bool) -> None:
        self.problem, self.distinct = problem, distinct
        self.measured = replace(problem, change_weight=0) if by_cost else problem

    @cached_property
    def rows(self) -> list[Index]:
        """The candidates of each layer that are considered, of shape (rows,)."""
        if self.distinct:
            return self.problem.distinct()
        return [np.arange(len(of)) for of in self.problem.candidates]

    def chain(self, ends: Index | None) -> NearChain:
        """The layers in a row; in a loop it begins and ends in `ends`, of shape (candidates,)."""
        problem = self.problem
        prices = [
            _within(self.measured.weighted_prices(k), rows) for k, rows in enumerate(self.rows)
        ]
        if ends is not None:
            prices[0] = _within(prices[0], ends)
        if problem.closed:
            prices.append(_within(np.zeros_like(prices[0]), self.rows[0] if ends is None else ends))
        entry = problem.entry()
        into = np.zeros_like(prices[0]) if entry is None else entry.motion[0]
        steps = [*problem.candidates, *problem.candidates[: problem.closed]]
        changes = [problem.change(*seam) for seam in problem.seams]
        return NearChain(prices, into, steps, changes, max(4, int(steps[0].sizes[0])))

    def kept(self, rows: list[Index]) -> list[Index]:
        """Rows of shape (kept,) for each layer; in a loop the first must be good at both ends."""
        if not self.problem.closed:
            return rows
        return [np.intersect1d(rows[0], rows[-1]), *rows[1:-1]]


def _within(prices: Bound, rows: Index) -> Bound:
    """The prices of `rows`; `NEVER` for all others."""
    if len(rows) == len(prices):
        return prices
    limited = np.full_like(prices, NEVER)
    limited[rows] = prices[rows]
    return limited
