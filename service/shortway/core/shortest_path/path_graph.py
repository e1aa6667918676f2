"""The graph of the few paths that cost little, and the best of them by rank.

Knows no music. A rank packs the six sums of an edge that decide after cost into one integer of
unlimited size, 32 bits a sum, so that ranks add and compare as a whole.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import accumulate, chain

import numpy as np
from numpy.typing import NDArray

from shortway.core.shortest_path.codes import Path
from shortway.core.shortest_path.edge_costs import EdgeCosts, Ends

Sums = NDArray[np.int64]


class PathGraph:
    """Some edges with their ranks.

    Attributes
    ----------
    after : list of dict
        By level, from each state the edges: next state, rank.
    codes : int
        A state is node * codes + a code of the prefix to that node.
    """

    def __init__(self, dense: EdgeCosts, edges: Iterator[Ends], codes: int = 1) -> None:
        self.dense, self.codes, self.closed = dense, codes, dense.problem.closed
        self.after: list[dict[int, list[tuple[int, int]]]] = []
        found = list(edges)
        ranks = iter(self._ranks([(self._nodes(start), self._nodes(end)) for start, end in found]))
        for start, end in found:
            after: dict[int, list[tuple[int, int]]] = {}
            for i, j in zip(start, end, strict=True):
                after.setdefault(i, []).append((j, next(ranks)))
            self.after.append(after)

    def _nodes(self, states: list[int]) -> list[int]:
        return states if self.codes == 1 else [state // self.codes for state in states]

    def _ranks(self, edges: Sequence[Ends]) -> list[int]:
        """The ranks of edges, each with that of the node from which it leads."""
        layers, problem = self.dense.layers, self.dense.problem
        if not edges:
            return []
        known = list(self.dense.known.values())
        at = dict(zip(map(id, known), accumulate([of.nodes for of in known], initial=0)))  # noqa: B905
        firsts = [at[id(of)] for of in layers]
        counts = [len(start) for start, _ in edges]
        start, end = (
            np.array([*chain.from_iterable(of)]) + np.repeat(first, counts)
            for of, first in zip(zip(*edges, strict=True), (firsts[:-1], firsts[1:]), strict=True)
        )
        points = np.concatenate([of.points for of in known], axis=1)
        early, late = (np.concatenate([of[k] for of in known]) for k in (4, 2))
        weights = np.repeat(problem.weights[: len(edges)], counts)
        parts = list(_rank_parts(points[:, start], points[:, end], problem.apart))
        self._given(parts, edges, counts)
        return _packed_ranks(parts, early[start], late[start] * weights)

    def _given(self, parts: list[Sums], edges: Sequence[Ends], counts: list[int]) -> None:
        """Replace the sums of edges at seams that have their own."""
        ends = list(accumulate(counts))
        for (start, to), seam, last in zip(edges, self.dense.problem.seams, ends, strict=True):
            if seam.motion is not None:
                for part, of in zip(parts, seam[5:], strict=True):
                    part[last - len(start) : last] = 0 if of is None else of[start, to]

    def best_of_all(self, starts: list[int]) -> tuple[int, Path]:
        """Rank and nodes of the best of all paths, which are all of one cost."""
        last = self.after[-1].values() if self.after else [[(i, 0) for i in starts]]
        ranks = {j: self._end_rank(j) for ways in last for j, _ in ways}
        onward: list[dict[int, int]] = []
        for after in reversed(self.after):
            ahead, ranks, ways = ranks, {}, {}
            for i, edges in after.items():
                ranks[i], ways[i] = min([(rank + ahead[j], j) for j, rank in edges])
            onward.append(ways)
        rank, state = min((ranks[i] + self._entry_rank(i), i) for i in starts)
        states = [state]
        for ways in reversed(onward):
            state = ways[state]
            states.append(state)
        return rank, tuple(self._nodes(states)[: len(self.dense.problem.weights)])

    def _end_rank(self, state: int) -> int:
        if self.closed:
            return 0
        node = state // self.codes
        last, weight = self.dense.layers[-1], self.dense.problem.weights[-1]
        return last.early.item(node) << 128 | last.late.item(node) * weight

    def _entry_rank(self, state: int) -> int:
        problem, first = self.dense.problem, self.dense.layers[0]
        node = state // self.codes
        if problem.before is None:
            return 0
        ends = self.dense.before.points[:, :1], first.points[:, [node]]
        parts, given = _rank_parts(*ends, problem.apart), problem.entry[5:]
        if problem.entry.motion is not None:
            parts = tuple(np.array([0 if of is None else of[0, node]], np.int64) for of in given)
        return _packed_ranks(parts, np.zeros(1, int), np.zeros(1, int))[0]


def _rank_parts(a: NDArray[np.int16], b: NDArray[np.int16], apart: int) -> tuple[Sums, ...]:
    """Motion, apart, squares and top of edges between points of shape (coordinates, edges)."""
    moves = np.abs(a.astype(np.int64) - b)
    main = moves[apart:]
    return main.sum(axis=0), moves[:apart].sum(axis=0), (main * main).sum(axis=0), moves[-1]


def _packed_ranks(parts: Sequence[Sums], early: NDArray[np.int32], late: Sums) -> list[int]:
    """The six sums of each edge in one integer."""
    motion, apart, squares, top = parts
    high, middle, low = motion << 32 | early, apart << 32 | squares, top << 32 | late
    three = zip(high.tolist(), middle.tolist(), low.tolist(), strict=True)
    return [a << 128 | b << 64 | c for a, b, c in three]
