"""The graph of the few paths that cost little, and the best of them by rank.

Knows no music. A rank packs the six sums of an edge that decide after cost into one integer of
unlimited size, 32 bits a sum, so that ranks add and compare as a whole.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import accumulate, chain
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cancellation import checkpoint
from shortway.core.shortest_path.edge_costs import EdgeCosts
from shortway.core.shortest_path.least_cost import NEVER

#: Most edges that are compared one by one.
MOST_EDGES: Final = 200_000
#: Most prefixes that differ in other ways from the paths found so far.
_MOST_STATES: Final = 60_000

Path = tuple[int, ...]
Sums = NDArray[np.int64]
#: What a prefix of a path has in common with the paths found so far: those that begin so, if one
#: difference is enough, else how much it differs from each.
Code = tuple[int, ...]
State = tuple[int, Code]


class TooManyEdges(Exception):
    """So many paths are nearly as good that their edges are too many to be compared one by one."""


@dataclass(slots=True)
class Found:
    """The paths found so far, by how much the next must differ from each, and states so far."""

    weights: list[int]
    enough: int
    paths: list[Path] = field(default_factory=list)
    states: int = 0

    def begin(self) -> Code:
        """The code of an empty prefix."""
        number = len(self.paths)
        return tuple(range(number)) if self.enough == 1 else (0,) * number

    def accepts(self, code: Code) -> bool:
        """Whether a whole path of this code differs enough."""
        return not code if self.enough == 1 else all(of >= self.enough for of in code)

    def advance(self, code: Code, level: int, node: int) -> Code:
        """The code of a prefix with one more node; beyond the layers it stays."""
        if not code or level == len(self.weights):
            return code
        if self.enough == 1:
            return tuple([q for q in code if self.paths[q][level] == node])
        differing = zip(code, self.paths, strict=True)
        more = (of + self.weights[level] * (path[level] != node) for of, path in differing)
        return tuple([min(of, self.enough) for of in more])


class PathGraph:
    """Some edges with their ranks.

    Attributes
    ----------
    after : list of dict
        By level, from each node the edges: next node, cost (the node's own included), rank.
    """

    def __init__(self, dense: EdgeCosts, edges: Iterator[tuple[list[int], list[int]]]) -> None:
        self.dense, self.closed = dense, dense.problem.closed
        self.after: list[dict[int, list[tuple[int, int, int]]]] = []
        found = list(edges)
        if sum(len(start) for start, _ in found) > MOST_EDGES:
            raise TooManyEdges
        ranks = iter(self._ranks(found))
        for (start, end), costs in zip(found, dense.edges, strict=True):
            after: dict[int, list[tuple[int, int, int]]] = {}
            for i, j in zip(start, end, strict=True):
                after.setdefault(i, []).append((j, costs.item(j, i), next(ranks)))
            self.after.append(after)

    def _ranks(self, edges: Sequence[tuple[list[int], list[int]]]) -> list[int]:
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

    def _given(
        self, parts: list[Sums], edges: Sequence[tuple[list[int], list[int]]], counts: list[int]
    ) -> None:
        """Replace the sums of edges at seams that have their own."""
        ends = list(accumulate(counts))
        for (start, to), seam, last in zip(edges, self.dense.problem.seams, ends, strict=True):
            if seam.motion is not None:
                for part, of in zip(parts, seam[5:], strict=True):
                    part[last - len(start) : last] = 0 if of is None else of[start, to]

    def best_of_all(self, starts: list[int]) -> tuple[int, Path]:
        """Rank and nodes of the best of all paths, which are all of one cost."""
        last = self.after[-1].values() if self.after else [[(i, 0, 0) for i in starts]]
        ranks = {j: self._end_rank(j) for ways in last for j, _, _ in ways}
        onward: list[dict[int, int]] = []
        for after in reversed(self.after):
            ahead, ranks, ways = ranks, {}, {}
            for i, edges in after.items():
                ranks[i], ways[i] = min([(rank + ahead[j], j) for j, _, rank in edges])
            onward.append(ways)
        rank, node = min((ranks[i] + self._entry_rank(i), i) for i in starts)
        nodes = [node]
        for ways in reversed(onward):
            node = ways[node]
            nodes.append(node)
        return rank, tuple(nodes[: len(self.dense.problem.weights)])

    def best(
        self, found: Found, starts: list[int], most: int, ends: dict[int, int]
    ) -> tuple[int, int, Path] | None:
        """Cost, rank and nodes of the best path of at most `most` that differs enough."""
        rest = self._costs_to_go(ends)
        levels = self._forward(found, starts, most, rest)
        reached = {state: paid + ends[state[0]] for state, paid in levels[-1].items()}
        able = {state: cost for state, cost in reached.items() if found.accepts(state[1])}
        least = min(able.values(), default=NEVER)
        if least >= NEVER:
            return None
        last = [state for state, cost in able.items() if cost == least]
        ranks, onward = self._backward(found, levels, last)
        first = min(ranks, key=lambda state: (ranks[state], state[0]))
        nodes, state = [first[0]], first
        for after in onward:
            state = after[state]
            nodes.append(state[0])
        return least, ranks[first], tuple(nodes[: len(found.weights)])

    def _costs_to_go(self, ends: dict[int, int]) -> list[dict[int, int]]:
        rest = [ends]
        for after in reversed(self.after):
            ahead = rest[-1]
            here = {}
            for i, ways in after.items():
                here[i] = min([cost + ahead.get(j, NEVER) for j, cost, _ in ways])
            rest.append(here)
        return rest[::-1]

    def _forward(
        self, found: Found, starts: list[int], most: int, rest: list[dict[int, int]]
    ) -> list[dict[State, int]]:
        """By level, least cost up to a node by a prefix of some code."""
        into, begin = self.dense.into, found.begin()
        here = {
            (i, found.advance(begin, 0, i)): into.item(i)
            for i in starts
            if into.item(i) + rest[0].get(i, NEVER) <= most
        }
        levels = [here]
        for level, after in enumerate(self.after, start=1):
            checkpoint()
            ahead: dict[State, int] = {}
            for (i, code), paid in here.items():
                for j, cost, _ in after.get(i, ()):
                    total = paid + cost
                    if total + rest[level].get(j, NEVER) > most:
                        continue
                    state = j, found.advance(code, level, j)
                    if total < ahead.get(state, NEVER):
                        ahead[state] = total
            levels.append(ahead)
            here = ahead
            found.states += len(ahead)
            if found.states > _MOST_STATES:
                raise TooManyEdges
        return levels

    def _backward(
        self, found: Found, levels: list[dict[State, int]], last: list[State]
    ) -> tuple[dict[State, int], list[dict[State, State]]]:
        """The least rank from each state of the first level on, and the ways on by level."""
        ranks: dict[State, int] = {state: self._end_rank(state[0]) for state in last}
        onward: list[dict[State, State]] = []
        for level in range(len(self.after), 0, -1):
            ahead, paid_ahead = ranks, levels[level]
            ranks, ways = {}, {}
            for state, paid in levels[level - 1].items():
                for j, cost, rank in self.after[level - 1].get(state[0], ()):
                    to = j, found.advance(state[1], level, j)
                    if to not in ahead or paid_ahead[to] != paid + cost:
                        continue
                    total = rank + ahead[to]
                    if state not in ranks or total < ranks[state]:
                        ranks[state], ways[state] = total, to
            onward.append(ways)
        ranks = {state: rank + self._entry_rank(state[0]) for state, rank in ranks.items()}
        return ranks, onward[::-1]

    def _end_rank(self, node: int) -> int:
        if self.closed:
            return 0
        last, weight = self.dense.layers[-1], self.dense.problem.weights[-1]
        return last.early.item(node) << 128 | last.late.item(node) * weight

    def _entry_rank(self, node: int) -> int:
        problem, first = self.dense.problem, self.dense.layers[0]
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
