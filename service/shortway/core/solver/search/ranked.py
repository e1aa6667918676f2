"""Ranked paths: alternatives, and the best paths through each candidate of a step.

Knows problems and chains. In a wide problem both are found among the survivors of a cost that is
raised until they are proven.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple, TypeVar

import numpy as np

from shortway.core.shortest_path.least_cost import NEVER
from shortway.core.shortest_path.point_problem import Integers
from shortway.core.shortest_path.through import Array, loops_through, paths_through
from shortway.core.solver.problem import PathProblem
from shortway.core.solver.search.chains import Chains
from shortway.core.solver.search.point_search import Indices, point_paths
from shortway.core.solver.search.weights import Weights
from shortway.core.voice_leading.distance import Matrix
from shortway.core.voice_leading.near_pairs import Index
from shortway.core.voice_leading.pruning import survivors

Found = TypeVar("Found")


class Through(NamedTuple):
    """A candidate, and the best path through it in figures; `weighted` has changed steps, too."""

    candidate: int
    weighted: int
    cost: int
    motion: int


def best_through(problem: PathProblem, layer: int, limit: int) -> list[Through]:
    """The first `limit` candidates of a layer by cost, then motion, of the best paths through them.

    Raises `TooLarge` if the costs of too many transitions would be held.
    """
    problem.refuse_too_large()
    weights, entry = Weights(problem, 64), problem.entry()
    prices = [weights.prices(k) for k in range(len(problem.layers))]
    nodes = [np.array([of, np.zeros_like(of)], np.int64) for of in prices]
    if entry is not None:
        nodes[0] += np.stack([weights.into(entry)[0], entry.motion[0]])
    known: dict[tuple[int, int], tuple[Array, Integers, Matrix]] = {}
    edges = []
    for a, b in problem.seams:
        parts = weights.moves(a, b), problem.moves(a, b).motion
        key = id(parts[0]), id(parts[1])
        if key not in known:
            known[key] = np.array(parts, np.int64), *parts
        edges.append(known[key][0])
    through = (loops_through if problem.closed else paths_through)(nodes, edges, layer, limit)
    return [Through(k, of, weights.cost(of), motion) for of, motion, k in through]


class RankedPaths(Chains):
    """The paths of a wide problem in the order of preference."""

    def __init__(
        self, problem: PathProblem, alternatives: int, differs_in: int, *, by_cost: bool = False
    ) -> None:
        super().__init__(problem, distinct=alternatives > 0, by_cost=by_cost)
        self.alternatives, self.differs_in = alternatives, differs_in

    def kernel_paths(self, rows: Sequence[Index]) -> tuple[list[Indices], int]:
        """The best paths through the candidates `rows`, and the highest cost among them.

        `rows` has an array of shape (chosen,) for each layer.
        """
        part = self.problem.on(rows)
        part.refuse_too_large()
        paths = point_paths(part, self.alternatives, self.differs_in) or []
        highest = max(map(self.measured.on(rows).weighted_cost, paths), default=0)
        return [original_indices(rows, path) for path in paths], highest

    def with_alternatives(self, best: Indices, most: int) -> list[Indices]:
        """The best path, of weighted cost `most`, and its alternatives.

        Where a problem keeps notes, survivors are those of cost alone: by weighted cost all
        candidates survive where several kept steps have to change. Of the paths that are proven to
        change as few steps as possible, none is missing that costs less.
        """
        count = self.alternatives + 1
        if not self.problem.keep or self.differs_in == 1:
            return self._among_survivors(most, count, self.kernel_paths)
        free = RankedPaths(self.problem, self.alternatives, self.differs_in, by_cost=True)
        return free._among_survivors(free._cost(best), count, free._proven_paths)

    def _cost(self, path: Indices) -> int:
        alone = self.measured.on([np.array([k]) for k in path])
        return alone.weighted_cost([0] * len(path))

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
            if changes > self._fewest_changes(paths[:k]):
                return paths[:k], highest
        return paths, highest

    def _fewest_changes(self, paths: Sequence[Indices]) -> int:
        """The fewest changes of kept notes with which a path differs enough from `paths`.

        A lower bound where moves are forbidden. Candidates that change alike, and of which `paths`
        take none, are one.
        """
        problem, enough = self.problem, self.differs_in
        least = {(0,) * len(paths): 0}
        for k, (costs, layer) in enumerate(zip(problem.costs, problem.layers, strict=True)):
            own = self.rows[k]
            changed = np.zeros(len(own)) if costs.changed is None else costs.changed[own]
            marks = np.array([changed, *(own != path[k] for path in paths)], np.int64)
            before, least = least, {}
            for more, *differs in np.unique(marks, axis=1).T.tolist():
                for code, paid in before.items():
                    counts = zip(code, differs, strict=True)
                    to = tuple([min(of + len(layer.steps) * d, enough) for of, d in counts])
                    least[to] = min(least.get(to, NEVER), paid + more)
        return least.get((enough,) * len(paths), 0)

    def choices(self, best: Indices, at: int, limit: int) -> list[Through]:
        """The candidates of layer `at` with the best path through each."""

        def through(rows: Sequence[Index]) -> tuple[list[Through], int]:
            if len(rows[at]) < min(limit, len(self.rows[at])):
                return [], 0
            found = best_through(self.problem.on(rows), at, limit)
            original = [of._replace(candidate=int(rows[at][of.candidate])) for of in found]
            return original, max((of.weighted for of in found), default=0)

        return self._among_survivors(self._cost(best), limit, through)

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
