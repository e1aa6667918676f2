"""Shortest path through layers of nodes, open or as a loop, by dynamic programming.

Knows no music: integer arrays in, indices out. A cost is one or more limbs, compared like the
digits of a number, most significant first; each limb is an int64 below `FORBIDDEN`.

Of several shortest paths the one with the lowest index at the first layer is returned, of those
the one with the lowest index at the second, and so on. Costs are exact integers, so the result is
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

#: Bits that one limb may use in all; a forbidden edge costs more than any path within them.
LIMB_BITS: Final = 61
FORBIDDEN: Final = 1 << LIMB_BITS


@dataclass(frozen=True, slots=True)
class ShortestPath:
    """A path: one node of each layer, and its cost, limb by limb."""

    nodes: tuple[int, ...]
    cost: Cost


@dataclass(frozen=True, eq=False, slots=True)
class PathAutomaton:
    """A condition on whole paths, as a finite automaton that reads their nodes.

    Attributes
    ----------
    transitions : sequence of intp arrays, each of shape (states, nodes of the layer)
        The state after a node of the layer is read in a state; state 0 is the first.
    accepting : bool, shape (states,)
        The states in which a path may end.
    """

    transitions: Sequence[Index]
    accepting: NDArray[np.bool_]

    def before(self, layer: int, values: Array) -> Array:
        """`values` of a layer by the state before its nodes are read.

        Both arrays are of shape (states, limbs, nodes).
        """
        transitions = self.transitions[layer]
        return values[transitions, :, np.arange(transitions.shape[1])].transpose(0, 2, 1)


def shortest(
    nodes: Sequence[Array], edges: Sequence[Array], automaton: PathAutomaton | None = None
) -> ShortestPath | None:
    """The shortest path from the first layer to the last.

    Parameters
    ----------
    nodes : sequence of int64, each of shape (limbs, nodes of the layer)
        What each node costs.
    edges : sequence of int64, each of shape (limbs, nodes of the layer, nodes of the next)
        What each edge costs; the first limb is `FORBIDDEN` where there is no edge.
    automaton : PathAutomaton, optional
        A condition that the path must meet.

    Returns
    -------
    ShortestPath or None
        None if no path exists.

    >>> import numpy as np
    >>> nodes = [np.array([[0, 0]]), np.array([[1, 0]])]
    >>> shortest(nodes, [np.array([[[5, 9], [7, 6]]])])
    ShortestPath(nodes=(0, 0), cost=(6,))
    """
    found = BackwardPass.open(nodes, edges, nodes[-1], automaton)
    return found.path(least(found.first))


def shortest_loop(
    nodes: Sequence[Array], edges: Sequence[Array], automaton: PathAutomaton | None = None
) -> ShortestPath | None:
    """The shortest loop: the last layer has edges back to the first.

    Parameters
    ----------
    nodes : sequence of int64, each of shape (limbs, nodes of the layer)
    edges : sequence of int64, each of shape (limbs, nodes of the layer, nodes of the next)
        As many as layers; the last leads from the last layer to the first.
    automaton : PathAutomaton, optional
        As for `shortest`.

    Notes
    -----
    Branch and bound over sets S of first nodes. An open path that may begin at any node of S and
    end at any node of S bounds every loop through S from below, node by node of S. If the best
    such path is closed, it is the best through S; if not, S is split between its two ends. A set
    whose bound exceeds the best loop found so far is dropped. Sets are taken in order of their
    bound, so the search ends with a proof.
    """
    best: ShortestPath | None = None
    heap: list[tuple[Cost, int, Index]] = [((), 0, np.arange(nodes[0].shape[1]))]
    while heap:
        bound, _, starts = heapq.heappop(heap)
        if best is not None and not _may_win(bound, int(starts[0]), best):
            continue
        found = BackwardPass.closed(nodes, edges, starts, automaton)
        promising = _promising(found.first, starts, best)
        if len(promising) == 0:
            continue
        path = found.path(int(promising[least(found.first[:, promising])]))
        if path is None:
            continue
        end = _end(edges, path, starts)
        if path.nodes[0] == end:
            best = path
            continue
        cut = (path.nodes[0] + end) // 2
        for part in (promising[promising <= cut], promising[promising > cut]):
            if len(part):
                heapq.heappush(heap, (path.cost, int(part[0]), part))
    return best


# --- passes --------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False, slots=True)
class BackwardPass:
    """Least cost from every node of every layer to the end, the node's own included.

    Attributes
    ----------
    values : list of int64 arrays
        Of shape (limbs, nodes), or (states, limbs, nodes) with an automaton.
    """

    edges: Sequence[Array]
    values: Sequence[Array]
    automaton: PathAutomaton | None

    @classmethod
    def open(
        cls,
        nodes: Sequence[Array],
        edges: Sequence[Array],
        end: Array,
        automaton: PathAutomaton | None = None,
    ) -> BackwardPass:
        """The pass of paths to the last layer, whose nodes cost `end`; shape (limbs, nodes)."""
        checkpoint()
        if automaton is not None:
            end = np.where(automaton.accepting[:, None, None], end, FORBIDDEN)
        values = [end]
        for layer in range(len(nodes) - 2, -1, -1):
            if automaton is None:
                here = relax(edges[layer], values[-1])
            else:
                checkpoint()
                states = automaton.before(layer + 1, values[-1])
                here = np.stack([relax(edges[layer], after) for after in states])
            here += nodes[layer]
            if layer % 2:
                # Two forbidden edges and a path still fit in 64 bits, three would not.
                np.minimum(here, FORBIDDEN, out=here)
            values.append(here)
        return cls(edges, values[::-1], automaton)

    @classmethod
    def closed(
        cls,
        nodes: Sequence[Array],
        edges: Sequence[Array],
        starts: Index,
        automaton: PathAutomaton | None = None,
    ) -> BackwardPass:
        """The pass of paths that return to any first node of `starts`; shape (starts,)."""
        back = relax(edges[-1][:, :, starts], np.zeros((len(edges[-1]), len(starts)), np.int64))
        return cls.open(nodes, edges, back + nodes[-1], automaton)

    @property
    def first(self) -> Array:
        """Cost of the best path from each node of the first layer; shape (limbs, nodes)."""
        values = self.values[0]
        return values if self.automaton is None else self.automaton.before(0, values)[0]

    def path(self, first: int) -> ShortestPath | None:
        """The best path from the node `first`, of equals by the lowest index; None if none."""
        cost = cost_at(self.first, first)
        if cost[0] >= FORBIDDEN:
            return None
        nodes, node, state = [first], first, 0
        for layer, values in enumerate(self.values[1:], start=1):
            if self.automaton is not None:
                state = int(self.automaton.transitions[layer - 1][state, node])
                values = self.automaton.before(layer, values)[state]
            node = least(self.edges[layer - 1][:, node] + values)
            nodes.append(node)
        return ShortestPath(tuple(nodes), cost)


def relax(edges: Array, values: Array) -> Array:
    """Least sum of edge and value over the next layer, limb by limb.

    `edges` is of shape (limbs, nodes, nodes of the next), `values` of shape (limbs, nodes of the
    next); the result is of shape (limbs, nodes).
    """
    if len(edges) == 1:
        lowest: Array = np.minimum.reduce(edges[0] + values[0], axis=1)
        return lowest[None]
    sums = edges + values[:, None, :]
    limbs = np.empty(edges.shape[:2], np.int64)
    for limb in range(len(edges)):
        limbs[limb] = sums[limb].min(axis=1)
        if limb + 1 < len(edges):
            worse = sums[limb] > limbs[limb][:, None]
            sums[limb + 1][worse] = FORBIDDEN
    return limbs


def least(values: Array) -> int:
    """Index of the least column of an array of shape (limbs, columns), the first of equals."""
    if len(values) == 1:
        return int(values[0].argmin())
    return int(np.lexsort(values[::-1])[0])


def cost_at(values: Array, at: int) -> Cost:
    """The cost of one column of an array of shape (limbs, columns)."""
    return tuple(values[:, at].tolist())


# --- loops ---------------------------------------------------------------------------------------


def _promising(bounds: Array, starts: Index, best: ShortestPath | None) -> Index:
    """Those of `starts` whose bound does not rule out a better loop than `best`."""
    able = starts[bounds[0, starts] < FORBIDDEN]
    if best is None:
        return np.asarray(able)
    return np.array([k for k in able.tolist() if _may_win(cost_at(bounds, k), k, best)], np.intp)


def _may_win(bound: Cost, first: int, best: ShortestPath) -> bool:
    return (bound, first) < (best.cost, best.nodes[0])


def _end(edges: Sequence[Array], path: ShortestPath, starts: Index) -> int:
    """Where a path that may end anywhere in `starts` ends: its start, if that is as good."""
    last = edges[-1][:, path.nodes[-1], :]
    best = int(starts[least(last[:, starts])])
    closed = cost_at(last, best) == cost_at(last, path.nodes[0])
    return path.nodes[0] if closed else best
