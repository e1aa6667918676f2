"""The least cost of paths and loops through each node of one layer.

Knows no music. Costs are int64 below `NEVER_64`, in pairs: of equal first ones the second decides.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from shortway.core.cancellation import checkpoint
from shortway.core.shortest_path.least_cost import NEVER_64

Array = NDArray[np.int64]
#: Both costs of the best path through a node, and the node.
Through = tuple[int, int, int]


def paths_through(
    nodes: Sequence[Array], edges: Sequence[Array], layer: int, limit: int
) -> list[Through]:
    """The best path through each node of a layer, in order, at most `limit`.

    By one forward and one backward pass.

    Parameters
    ----------
    nodes : sequence of int64, each of shape (2, nodes of the layer)
    edges : sequence of int64, each of shape (2, nodes of the layer, nodes of the next)
        The first cost is `NEVER_64` where there is no edge.
    """
    back = [of.transpose(0, 2, 1) for of in edges[:layer]][::-1]
    ahead = _costs_to_go(nodes[layer:], edges[layer:], nodes[-1])
    so_far = _costs_to_go(nodes[layer::-1], back, nodes[0])
    through = so_far + ahead - nodes[layer]
    through[0, np.maximum(so_far[0], ahead[0]) >= NEVER_64] = NEVER_64
    order = np.lexsort(through[::-1])[:limit].tolist()
    return [_at(through, k) for k in order if through[0, k] < NEVER_64]


def loops_through(
    nodes: Sequence[Array], edges: Sequence[Array], layer: int, limit: int
) -> list[Through]:
    """The same for loops, by a backward pass for each node that a lower bound leaves.

    `edges` has one more, which leads from the last layer to the first.
    """
    nodes = [*nodes[layer:], *nodes[:layer]]  # a loop may be read from any layer
    edges = [*edges[layer:], *edges[:layer]]
    bounds = _loops(nodes, edges, np.arange(nodes[0].shape[1]))
    found: list[Through] = []
    for k in np.lexsort(bounds[::-1]).tolist():
        bound = _at(bounds, k)
        if bound[0] >= NEVER_64 or (len(found) >= limit and found[limit - 1] < bound):
            break
        own = [nodes[0][:, [k]], *nodes[1:]]
        cost = _at(_loops(own, [edges[0][:, [k]], *edges[1:]], np.array([k])), 0)
        if cost[0] < NEVER_64:
            insort(found, (*cost[:2], k))
    return found[:limit]


def _loops(nodes: Sequence[Array], edges: Sequence[Array], ends: NDArray[np.intp]) -> Array:
    """The best way from each first node round to any of `ends`; shape (2, first nodes)."""
    back = edges[-1][:, :, ends]
    last = _relax(back, np.zeros((2, len(ends)), np.int64)) + nodes[-1]
    return _costs_to_go(nodes, edges[:-1], last)


def _costs_to_go(nodes: Sequence[Array], edges: Sequence[Array], end: Array) -> Array:
    """The best way from each first node to the end, whose nodes cost `end`; shape (2, nodes)."""
    for own, of in zip(nodes[-2::-1], edges[::-1], strict=False):
        checkpoint()
        end = _relax(of, np.minimum(end, NEVER_64)) + own
    return end


def _relax(edges: Array, ahead: Array) -> Array:
    """The least sum of edge and what comes after; shape (2, nodes)."""
    sums = edges[0] + ahead[0]
    least = sums.min(axis=1)
    second = np.where(sums == least[:, None], edges[1] + ahead[1], NEVER_64).min(axis=1)
    return np.stack([least, second])


def _at(costs: Array, k: int) -> Through:
    return int(costs[0, k]), int(costs[1, k]), k
