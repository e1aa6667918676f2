"""K shortest paths: every path, in order of cost and then of indices.

Knows the kernel's passes and no music. The method is Lawler's (Management Science 18(7), 1972): the
paths after the best one are split by the first layer at which they differ from it.
`diversity_constraint` is the condition that a path differs from given ones in enough places.
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
class _Rest:
    """Ways that share their first nodes and, at the layer after them, avoid some.

    Attributes
    ----------
    layers : sequence of int64 arrays
        What the nodes of every layer cost.
    whole : Pass
        Cost from every node to the end.
    nodes : tuple of int
        The shared nodes.
    spent : tuple of int
        What they and the edges between them cost.
    avoided : frozenset of int
        Nodes of the layer after them that none of the ways has.
    """

    layers: Sequence[Array]
    whole: BackwardPass
    nodes: tuple[int, ...]
    spent: Cost
    avoided: frozenset[int]

    def onward(self) -> tuple[Cost, int] | None:
        """The cost of the best of them, and its node at the layer after the shared ones."""
        at = len(self.nodes)
        ahead = self.whole.values[at].copy()
        if at:
            ahead += self.whole.edges[at - 1][:, self.nodes[-1], :]
        ahead[0, list(self.avoided)] = FORBIDDEN
        node = least(ahead)
        if ahead[0, node] >= FORBIDDEN:
            return None
        return _plus(self.spent, cost_at(ahead, node)), node

    def best(self, node: int) -> tuple[int, ...]:
        """The best of them, whose next node is `node`."""
        nodes = [*self.nodes, node]
        for layer in range(len(nodes), len(self.layers)):
            ahead = self.whole.edges[layer - 1][:, nodes[-1], :] + self.whole.values[layer]
            nodes.append(least(ahead))
        return tuple(nodes)

    def without(self, way: tuple[int, ...]) -> Iterator[_Rest]:
        """The same ways but for `way`, split by the layer at which they leave it."""
        spent, nodes, avoided = self.spent, self.nodes, self.avoided
        for layer in range(len(self.nodes), len(way)):
            yield _Rest(self.layers, self.whole, nodes, spent, avoided | {way[layer]})
            spent = _plus(spent, cost_at(self.layers[layer], way[layer]))
            if layer:
                edge = self.whole.edges[layer - 1][:, way[layer - 1], way[layer]]
                spent = _plus(spent, tuple(edge.tolist()))
            nodes, avoided = way[: layer + 1], frozenset()


def _plus(a: Cost, b: Cost) -> Cost:
    return tuple(x + y for x, y in zip(a, b, strict=True))


# What waits in a heap: cost, 1 where the way is known to its end, its nodes as far as known.
_Waiting = tuple[Cost, int, tuple[int, ...], int, "_Rest | Index"]


def k_shortest_paths(nodes: Sequence[Array], edges: Sequence[Array]) -> Iterator[ShortestPath]:
    """Every path from the first layer to the last; arrays have the shapes of `kernel.shortest`."""
    whole = BackwardPass.over(nodes, edges, nodes[-1])
    nothing = (0,) * len(nodes[0])
    queue = _Queue()
    queue.put(_Rest(nodes, whole, (), nothing, frozenset()))
    yield from queue.drain(nodes, edges)


def k_shortest_loops(nodes: Sequence[Array], edges: Sequence[Array]) -> Iterator[ShortestPath]:
    """Every closed path; arrays have the shapes of `kernel.shortest_loop`.

    Sets of first nodes wait with the others, bounded from below; one that comes up is cut in two,
    down to single nodes, whose ways are then exact.
    """
    queue = _Queue()
    queue.put_set(((0,) * len(nodes[0])), np.arange(nodes[0].shape[1]))
    yield from queue.drain(nodes, edges)


class _Queue:
    """Ways and sets of ways that wait their turn."""

    def __init__(self) -> None:
        self._heap: list[_Waiting] = []
        self._count = 0

    def _push(self, cost: Cost, known: int, nodes: tuple[int, ...], what: _Rest | Index) -> None:
        self._count += 1
        heapq.heappush(self._heap, (cost, known, nodes, self._count, what))

    def put(self, rest: _Rest) -> None:
        """Let the best of `rest` wait."""
        checkpoint()
        found = rest.onward()
        if found is not None:
            cost, node = found
            self._push(cost, 1, rest.best(node), rest)

    def put_set(self, bound: Cost, chosen: Index) -> None:
        """Let the loops through the first nodes `chosen` wait, none cheaper than `bound`."""
        if len(chosen) and bound[0] < FORBIDDEN:
            self._push(bound, 0, (int(chosen[0]),), chosen)

    def drain(self, nodes: Sequence[Array], edges: Sequence[Array]) -> Iterator[ShortestPath]:
        """Ways in order, for as long as they are asked for."""
        while self._heap:
            cost, _, way, _, what = heapq.heappop(self._heap)
            if isinstance(what, _Rest):
                yield ShortestPath(way, cost)
                for rest in what.without(way):
                    self.put(rest)
            else:
                self._open(nodes, edges, what)

    def _open(self, nodes: Sequence[Array], edges: Sequence[Array], chosen: Index) -> None:
        whole = BackwardPass.round(nodes, edges, chosen)
        if len(chosen) == 1:
            others = np.delete(np.arange(nodes[0].shape[1]), chosen)
            nothing = (0,) * len(nodes[0])
            self.put(_Rest(nodes, whole, (), nothing, frozenset(others.tolist())))
            return
        for part in np.array_split(chosen, 2):
            bounds = whole.first[:, part]
            self.put_set(cost_at(bounds, least(bounds)), part)


# --- ways that keep apart ------------------------------------------------------------------------


def diversity_constraint(
    sizes: Sequence[int], ways: Sequence[Sequence[int]], weights: Sequence[int], enough: int
) -> PathAutomaton:
    """The condition that a way differs from each of `ways` in places of `enough` weight in all.

    Parameters
    ----------
    sizes : sequence of int
        Nodes of each layer.
    weights : sequence of int
        What a difference at each layer counts.

    Notes
    -----
    The states count the differences from each of the ways, as far as `enough`: (enough + 1) to the
    power of the number of ways.
    """
    counts = list(product(range(enough + 1), repeat=len(ways)))
    number = {count: state for state, count in enumerate(counts)}
    turns = []
    for layer, (size, weight) in enumerate(zip(sizes, weights, strict=True)):
        checkpoint()
        taken = [way[layer] for way in ways]
        differing = [tuple(min(c + weight, enough) for c in count) for count in counts]
        turn = np.repeat(np.array([number[d] for d in differing], np.intp)[:, None], size, axis=1)
        for node in set(taken):
            for state, (count, other) in enumerate(zip(counts, differing, strict=True)):
                met = [c if t == node else d for c, d, t in zip(count, other, taken, strict=True)]
                turn[state, node] = number[tuple(met)]
        turns.append(turn)
    good = np.array([min(count, default=enough) >= enough for count in counts])
    return PathAutomaton(turns, good)
