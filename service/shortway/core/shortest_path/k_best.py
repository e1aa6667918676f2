"""The k shortest paths: one after another, each the shortest of those that are left.

Knows the kernel's passes and no music. `k_shortest_paths` and `k_shortest_loops` yield every path
in order of cost and then of indices (Lawler, Management Science 18(7), 1972: the paths after the
best one are split by the first layer at which they deviate from it). `diversity_constraint` is the
condition that a path differs from given ones in enough layers.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from shortway.core.cancellation import checkpoint
from shortway.core.shortest_path.kernel import (
    FORBIDDEN,
    Array,
    BackwardPass,
    Cost,
    Index,
    PathAutomaton,
    ShortestPath,
    cost_at,
    least,
)


@dataclass(frozen=True, eq=False, slots=True)
class _Subspace:
    """The paths that share a prefix and exclude some nodes of the layer after it.

    Attributes
    ----------
    layers : sequence of int64 arrays, each of shape (limbs, nodes of the layer)
    costs : BackwardPass
        Cost from every node to the end.
    prefix : tuple of int
    prefix_cost : tuple of int
        Of its nodes and the edges between them.
    excluded : frozenset of int
    """

    layers: Sequence[Array]
    costs: BackwardPass
    prefix: tuple[int, ...]
    prefix_cost: Cost
    excluded: frozenset[int]

    def best(self) -> ShortestPath | None:
        """The best path of the subspace; None if it is empty."""
        at = len(self.prefix)
        ahead = self.costs.values[at].copy()
        if at:
            ahead += self.costs.edges[at - 1][:, self.prefix[-1], :]
        ahead[0, list(self.excluded)] = FORBIDDEN
        node = least(ahead)
        if ahead[0, node] >= FORBIDDEN:
            return None
        nodes = [*self.prefix, node]
        for layer in range(len(nodes), len(self.layers)):
            after = self.costs.edges[layer - 1][:, nodes[-1], :] + self.costs.values[layer]
            nodes.append(least(after))
        return ShortestPath(tuple(nodes), _plus(self.prefix_cost, cost_at(ahead, node)))

    def without(self, path: tuple[int, ...]) -> Iterator[_Subspace]:
        """The subspace but for `path`, split by the layer of the first deviation from it."""
        cost, prefix, excluded = self.prefix_cost, self.prefix, self.excluded
        for layer in range(len(self.prefix), len(path)):
            yield _Subspace(self.layers, self.costs, prefix, cost, excluded | {path[layer]})
            cost = _plus(cost, cost_at(self.layers[layer], path[layer]))
            if layer:
                edge = self.costs.edges[layer - 1][:, path[layer - 1], path[layer]]
                cost = _plus(cost, tuple(edge.tolist()))
            prefix, excluded = path[: layer + 1], frozenset()


def _plus(a: Cost, b: Cost) -> Cost:
    return tuple(x + y for x, y in zip(a, b, strict=True))


# An entry of the heap: cost, 1 where the path is known to its end, its nodes as far as known.
_Entry = tuple[Cost, int, tuple[int, ...], int, "_Subspace | Index"]


def k_shortest_paths(nodes: Sequence[Array], edges: Sequence[Array]) -> Iterator[ShortestPath]:
    """Every path from the first layer to the last, in order.

    Parameters
    ----------
    nodes : sequence of int64, each of shape (limbs, nodes of the layer)
    edges : sequence of int64, each of shape (limbs, nodes of the layer, nodes of the next)
        As for `shortway.core.shortest_path.kernel.shortest`.
    """
    queue = _Queue(nodes, edges)
    queue.put(BackwardPass.open(nodes, edges, nodes[-1]), frozenset())
    yield from queue.drain()


def k_shortest_loops(nodes: Sequence[Array], edges: Sequence[Array]) -> Iterator[ShortestPath]:
    """Every loop, in order.

    Sets of first nodes wait in the queue, too, bounded from below; one whose turn comes is split in
    two, down to single nodes, whose loops are then exact.

    Parameters
    ----------
    nodes : sequence of int64, each of shape (limbs, nodes of the layer)
    edges : sequence of int64, each of shape (limbs, nodes of the layer, nodes of the next)
        As for `shortway.core.shortest_path.kernel.shortest_loop`.
    """
    queue = _Queue(nodes, edges)
    queue.put_starts(queue.nothing, np.arange(nodes[0].shape[1]))
    yield from queue.drain()


class _Queue:
    """Subspaces by their best paths, and sets of first nodes by lower bounds."""

    def __init__(self, nodes: Sequence[Array], edges: Sequence[Array]) -> None:
        self.nodes, self.edges = nodes, edges
        self.nothing: Cost = (0,) * len(nodes[0])
        self._heap: list[_Entry] = []
        self._count = 0

    def _push(
        self, cost: Cost, known: int, nodes: tuple[int, ...], what: _Subspace | Index
    ) -> None:
        self._count += 1
        heapq.heappush(self._heap, (cost, known, nodes, self._count, what))

    def put(self, costs: BackwardPass, excluded: frozenset[int]) -> None:
        """Add all paths but those from the first nodes `excluded`."""
        self._put(_Subspace(self.nodes, costs, (), self.nothing, excluded))

    def _put(self, subspace: _Subspace) -> None:
        checkpoint()
        best = subspace.best()
        if best is not None:
            self._push(best.cost, 1, best.nodes, subspace)

    def put_starts(self, bound: Cost, starts: Index) -> None:
        """Add the loops through the first nodes `starts`, shape (starts,), none below `bound`."""
        if len(starts) and bound[0] < FORBIDDEN:
            self._push(bound, 0, (int(starts[0]),), starts)

    def drain(self) -> Iterator[ShortestPath]:
        """The paths in order."""
        while self._heap:
            cost, _, path, _, what = heapq.heappop(self._heap)
            if isinstance(what, _Subspace):
                yield ShortestPath(path, cost)
                for subspace in what.without(path):
                    self._put(subspace)
            else:
                self._split(what)

    def _split(self, starts: Index) -> None:
        costs = BackwardPass.closed(self.nodes, self.edges, starts)
        if len(starts) == 1:
            others = np.delete(np.arange(self.nodes[0].shape[1]), starts)
            self.put(costs, frozenset(others.tolist()))
            return
        for part in np.array_split(starts, 2):
            bounds = costs.first[:, part]
            self.put_starts(cost_at(bounds, least(bounds)), part)


def diversity_constraint(
    sizes: Sequence[int], paths: Sequence[Sequence[int]], weights: Sequence[int], enough: int
) -> PathAutomaton:
    """The condition that a path differs from each of `paths` in layers of `enough` weight in all.

    Parameters
    ----------
    sizes : sequence of int
        Nodes of each layer.
    weights : sequence of int
        What a difference at each layer counts.

    Notes
    -----
    The states count the differences from each of the paths, up to `enough`: (enough + 1) to the
    power of the number of paths.
    """
    counts = list(product(range(enough + 1), repeat=len(paths)))
    number = {count: state for state, count in enumerate(counts)}
    transitions = []
    for layer, (size, weight) in enumerate(zip(sizes, weights, strict=True)):
        checkpoint()
        taken = [path[layer] for path in paths]
        differing = [tuple(min(c + weight, enough) for c in count) for count in counts]
        turn = np.repeat(np.array([number[d] for d in differing], np.intp)[:, None], size, axis=1)
        for node in set(taken):
            for state, (count, other) in enumerate(zip(counts, differing, strict=True)):
                met = [c if t == node else d for c, d, t in zip(count, other, taken, strict=True)]
                turn[state, node] = number[tuple(met)]
        transitions.append(turn)
    accepting = np.array([min(count, default=enough) >= enough for count in counts])
    return PathAutomaton(transitions, accepting)
