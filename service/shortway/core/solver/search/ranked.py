"""Ranked paths: alternatives, and the best paths through each candidate of a step.

Knows problems, chains and packed costs. Both are found among the survivors of a cost that is raised
until they are proven.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np

from shortway.core.shortest_path.least_cost import NEVER
from shortway.core.solver.problem import PathProblem
from shortway.core.solver.report import Solution
from shortway.core.solver.search.chains import Chains
from shortway.core.solver.search.packed_costs import (
    Through,
    best_paths_through,
    fewest_changes,
    preferred_paths,
)
from shortway.core.voice_leading.near_pairs import Index
from shortway.core.voice_leading.pruning import survivors

Indices = tuple[int, ...]
Found = TypeVar("Found")


class RankedPaths(Chains):
    """The paths of a problem in the order of preference."""

    def __init__(
        self, problem: PathProblem, alternatives: int, differs_in: int, *, wide: bool
    ) -> None:
        super().__init__(problem, distinct=alternatives > 0, wide=wide)
        self.alternatives, self.differs_in = alternatives, differs_in

    def kernel_paths(self, rows: Sequence[Index]) -> tuple[list[Indices], int]:
        """The best paths through the candidates `rows`, and the highest cost among them.

        `rows` has an array of shape (chosen,) for each layer.
        """
        part = self.problem.on(rows)
        paths = preferred_paths(part, self.alternatives, self.differs_in)
        highest = max((part.weighted_cost(path.nodes) for path in paths), default=0)
        return [original_indices(rows, path.nodes) for path in paths], highest

    def with_alternatives(self, best: Indices, most: int) -> list[Indices]:
        """The best path, of weighted cost `most`, and its alternatives.

        Where a wide problem keeps notes, survivors are those of cost alone: by weighted cost all
        candidates survive where several kept steps have to change. Of the paths that are proven to
        change as few steps as possible, none is missing that costs less.
        """
        if not (self.wide and self.problem.keep and self.differs_in > 1):
            return self._among_survivors(most, self.alternatives + 1, self.kernel_paths)
        problem = replace(self.problem, change_weight=0)
        free = RankedPaths(problem, self.alternatives, self.differs_in, wide=self.wide)
        alone = free.problem.on([np.array([k]) for k in best])
        most = alone.weighted_cost([0] * len(best))
        return free._among_survivors(most, self.alternatives + 1, free._proven_paths)

    def _proven_paths(self, rows: Sequence[Index]) -> tuple[list[Indices], int]:
        """The best paths through `rows` and kept notes, up to one that may change too much."""
        changed = [of.changed for of in self.problem.costs]
        wider = [
            own if of is None else np.union1d(own, every[of[every] == 0])
            for own, of, every in zip(rows, changed, self.rows, strict=True)
        ]
        paths, highest = self.kernel_paths(wider)
        if sum(map(len, wider)) == sum(map(len, self.rows)):
            return paths, highest
        for k, path in enumerate(paths):
            changes = sum(
                int(of[at]) for of, at in zip(changed, path, strict=True) if of is not None
            )
            if changes > fewest_changes(self.problem, self.rows, paths[:k], self.differs_in):
                return paths[:k], highest
        return paths, highest

    def choices(self, best: Solution, at: int, limit: int) -> list[Through]:
        """The candidates of layer `at` with the best path through each."""

        def through(rows: Sequence[Index]) -> tuple[list[Through], int]:
            if len(rows[at]) < min(limit, len(self.rows[at])):
                return [], 0
            found = best_paths_through(self.problem.on(rows), at, limit)
            original = [of._replace(candidate=int(rows[at][of.candidate])) for of in found]
            return original, max((of.weighted for of in found), default=0)

        if not self.wide or self.problem.top_line != "free":
            return through(self.rows)[0]
        alone = self.problem.on([np.array([k]) for k in best.indices])
        most = alone.weighted_cost([0] * len(best.indices))
        return self._among_survivors(most, limit, through)

    def _among_survivors(
        self, most: int, count: int, search: Callable[[Sequence[Index]], tuple[list[Found], int]]
    ) -> list[Found]:
        """The best `count` paths of a kind that `search` finds, where the best costs `most`.

        `search` returns the best paths through some rows, and the highest cost among them. Every
        path of at most `most` passes through survivors of `most` only, so the paths found among
        them are right once none costs more. If one does, `most` is raised to it.
        """
        chain, more = self.chain(None), 2
        rest = chain.costs_to_go()
        while True:
            kept, beyond = survivors(chain, rest, most)
            rows = self.kept(kept)
            all_left = sum(map(len, rows)) == sum(map(len, self.rows))
            found, highest = search(rows)
            if all_left or (len(found) >= count and highest <= most):
                return found
            if len(found) >= count:
                most = highest
            else:
                most, more = max(most + more, beyond), 2 * more
            if most >= NEVER:
                return search(self.rows)[0]


def original_indices(rows: Sequence[Index], nodes: Sequence[int]) -> Indices:
    """Indices among `rows`, of shape (chosen,) in each layer, as indices among all candidates."""
    return tuple(int(of[node]) for of, node in zip(rows, nodes, strict=True))
