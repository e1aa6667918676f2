"""Path: the shortest way through layers of nodes, open or closed, by dynamic programming.

Knows no music: integer arrays in, indices out. A cost is one or more limbs, compared like the
digits of a number, most significant first; each limb is an int64 below `FORBIDDEN`.

Of several shortest ways the one with the lowest index at the first layer is returned, of those
the one with the lowest index at the second, and so on. Costs are exact integers, so the answer is
the same on every machine.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cancellation import checkpoint

Array = NDArray[np.int64]
Index = NDArray[np.intp]
Cost = tuple[int, ...]

#: Bits that one limb may use in all; a forbidden edge costs more than any way within them.
LIMB_BITS: Final = 61
FORBIDDEN: Final = 1 << LIMB_BITS


@dataclass(frozen=True, slots=True)
class ShortestPath:
    """One node of each layer, and what the way costs, limb by limb."""

    nodes: tuple[int, ...]
    cost: Cost


@dataclass(frozen=True, eq=False, slots=True)
class PathAutomaton:
    """A condition on whole ways, as a small automaton that reads their nodes.

    Attributes
    ----------
    turns : sequence of intp arrays, each of shape (states, nodes of the layer)
        The state after taking a node of the layer in a state; state 0 is the first.
    good : bool, shape (states,)
        The states in which a way may end.
    """

    turns: Sequence[Index]
    good: NDArray[np.bool_]

    def ahead(self, layer: int, values: Array) -> Array:
        """`values` before the layer's nodes are taken; both of shape (states, limbs, nodes)."""
        turns = self.turns[layer]
        return values[turns, :, np.arange(turns.shape[1])].transpose(0, 2, 1)


def shortest(
    nodes: Sequence[Array], edges: Sequence[Array], guard: PathAutomaton | None = None
) -> ShortestPath | None:
    """The shortest way from the first layer to the last.

    Parameters
    ----------
    nodes : sequence of int64, each of shape (limbs, nodes of the layer)
        What each node costs.
    edges : sequence of int64, each of shape (limbs, nodes of the layer, nodes of the next)
        What each edge costs; the first limb is `FORBIDDEN` where there is no edge.
    guard : Guard, optional
        A condition that the way must meet.

    Returns
    -------
    Way or None
        None if there is no way.

    >>> import numpy as np
    >>> nodes = [np.array([[0, 0]]), np.array([[1, 0]])]
    >>> shortest(nodes, [np.array([[[5, 9], [7, 6]]])])
    ShortestPath(nodes=(0, 0), cost=(6,))
    """
    found = BackwardPass.over(nodes, edges, nodes[-1], guard)
    return found.way(least(found.first))


def shortest_loop(
    nodes: Sequence[Array], edges: Sequence[Array], guard: PathAutomaton | None = None
) -> ShortestPath | None:
    """The shortest closed way: the last layer has edges back to the first.

    Parameters
    ----------
    nodes, edges, guard
        Of the shapes for `shortest`, with as many edges as layers; the last leads from the last
        layer to the first.

    Notes
    -----
    Branch and bound over sets S of first nodes. An open pass that may begin at any node of S and
    end at any node of S bounds every closed way through S from below, node by node of S. If the
    best such way is closed, it is the best through S; if not, S is cut between its two ends. A
    set whose bound exceeds the best closed way known is dropped: it cannot win. Sets are taken
    in order of their bound, so the search ends with a proof.
    """
    best: ShortestPath | None = None
    heap: list[tuple[Cost, int, Index]] = [((), 0, np.arange(nodes[0].shape[1]))]
    while heap:
        bound, _, chosen = heapq.heappop(heap)
        if best is not None and not _may_win(bound, int(chosen[0]), best):
            continue
        found = BackwardPass.round(nodes, edges, chosen, guard)
        hopeful = _hopeful(found.first, chosen, best)
        if len(hopeful) == 0:
            continue
        way = found.way(int(hopeful[least(found.first[:, hopeful])]))
        if way is None:
            continue
        end = _end(edges, way, chosen)
        if way.nodes[0] == end:
            best = way
            continue
        for part in _parts(hopeful, way.nodes[0], end):
            if len(part):
                heapq.heappush(heap, (way.cost, int(part[0]), part))
    return best


# --- passes --------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False, slots=True)
class BackwardPass:
    """Cost from every node of every layer to the end, its own included.

    Attributes
    ----------
    values : list of int64 arrays
        Without a guard of shape (limbs, nodes), with one of shape (states, limbs, nodes).
    """

    edges: Sequence[Array]
    values: Sequence[Array]
    guard: PathAutomaton | None

    @classmethod
    def over(
        cls,
        nodes: Sequence[Array],
        edges: Sequence[Array],
        end: Array,
        guard: PathAutomaton | None = None,
    ) -> BackwardPass:
        """The pass back from the last layer, whose nodes cost `end`, shape (limbs, nodes)."""
        checkpoint()
        if guard is not None:
            end = np.where(guard.good[:, None, None], end, FORBIDDEN)
        values = [end]
        for layer in range(len(nodes) - 2, -1, -1):
            if guard is None:
                here = relax(edges[layer], values[-1])
            else:
                checkpoint()
                states = guard.ahead(layer + 1, values[-1])
                here = np.stack([relax(edges[layer], ahead) for ahead in states])
            here += nodes[layer]
            if layer % 2:
                # Two forbidden edges and a way still fit in 64 bits, three would not.
                np.minimum(here, FORBIDDEN, out=here)
            values.append(here)
        return cls(edges, values[::-1], guard)

    @classmethod
    def round(
        cls,
        nodes: Sequence[Array],
        edges: Sequence[Array],
        chosen: Index,
        guard: PathAutomaton | None = None,
    ) -> BackwardPass:
        """The pass of ways that end in any first node of `chosen`, shape (chosen,)."""
        home = relax(edges[-1][:, :, chosen], np.zeros((len(edges[-1]), len(chosen)), np.int64))
        return cls.over(nodes, edges, home + nodes[-1], guard)

    @property
    def first(self) -> Array:
        """Cost of the best way from each node of the first layer; shape (limbs, nodes)."""
        return self.values[0] if self.guard is None else self.guard.ahead(0, self.values[0])[0]

    def way(self, first: int) -> ShortestPath | None:
        """The way from `first` that the values promise, always by the lowest index."""
        cost = cost_at(self.first, first)
        if cost[0] >= FORBIDDEN:
            return None
        nodes, node, state = [first], first, 0
        for layer, values in enumerate(self.values[1:], start=1):
            if self.guard is not None:
                state = int(self.guard.turns[layer - 1][state, node])
                values = self.guard.ahead(layer, values)[state]
            node = least(self.edges[layer - 1][:, node] + values)
            nodes.append(node)
        return ShortestPath(tuple(nodes), cost)


def relax(edges: Array, values: Array) -> Array:
    """Least of edge and value over the next layer, limb by limb; shape (limbs, nodes)."""
    if len(edges) == 1:
        lowest: Array = np.minimum.reduce(edges[0] + values[0], axis=1)
        return lowest[None]
    sums = edges + values[:, None, :]
    limbs = np.empty(edges.shape[:2], np.int64)
    for limb in range(len(edges)):
        limbs[limb] = sums[limb].min(axis=1)
        if limb + 1 < len(edges):
            beaten = sums[limb] > limbs[limb][:, None]
            sums[limb + 1][beaten] = FORBIDDEN
    return limbs


def least(values: Array) -> int:
    """Index of the least column of `values`, shape (limbs, columns); the first of equals."""
    if len(values) == 1:
        return int(values[0].argmin())
    return int(np.lexsort(values[::-1])[0])


def cost_at(values: Array, at: int) -> Cost:
    """The cost of one column of `values`, shape (limbs, columns)."""
    return tuple(values[:, at].tolist())


# --- loops ---------------------------------------------------------------------------------------


def _hopeful(bounds: Array, chosen: Index, best: ShortestPath | None) -> Index:
    """Those first nodes whose bound leaves them a chance."""
    able = chosen[bounds[0, chosen] < FORBIDDEN]
    if best is None:
        return np.asarray(able)
    hope = [node for node in able.tolist() if _may_win(cost_at(bounds, node), node, best)]
    return np.array(hope, np.intp)


def _may_win(bound: Cost, first: int, best: ShortestPath) -> bool:
    return (bound, first) < (best.cost, best.nodes[0])


def _end(edges: Sequence[Array], way: ShortestPath, chosen: Index) -> int:
    """Where a way that may end anywhere in `chosen` ends: its beginning, if that is as good."""
    last = edges[-1][:, way.nodes[-1], :]
    best = int(chosen[least(last[:, chosen])])
    closed = cost_at(last, best) == cost_at(last, way.nodes[0])
    return way.nodes[0] if closed else best


def _parts(chosen: Index, first: int, end: int) -> tuple[Index, ...]:
    """`chosen` cut between two different ends."""
    cut = (first + end) // 2
    return chosen[chosen <= cut], chosen[chosen > cut]
