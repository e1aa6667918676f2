"""The least cost of paths and loops through each node of one layer.

Knows the kernel's passes and no music.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Sequence

import numpy as np

from shortway.core.shortest_path.kernel import (
    FORBIDDEN,
    Array,
    BackwardPass,
    Cost,
    cost_at,
)


def paths_through(
    nodes: Sequence[Array], edges: Sequence[Array], layer: int, limit: int
) -> list[tuple[Cost, int]]:
    """The cost of the shortest path through each node of a layer, with the node, in order.

    At most `limit`, by one forward and one backward pass.

    Parameters
    ----------
    nodes : sequence of int64, each of shape (limbs, nodes of the layer)
    edges : sequence of int64, each of shape (limbs, nodes of the layer, nodes of the next)
        As for `shortway.core.shortest_path.kernel.shortest`.
    """
    ahead = BackwardPass.open(nodes[layer:], edges[layer:], nodes[-1]).first
    back = [of.transpose(0, 2, 1) for of in edges[:layer]][::-1]
    so_far = BackwardPass.open(nodes[layer::-1], back, nodes[0]).first
    through = np.where(ahead[0] >= FORBIDDEN, FORBIDDEN, so_far + ahead - nodes[layer])
    order = np.lexsort(through[::-1])
    found = [(cost_at(through, k), k) for k in order[:limit].tolist()]
    return [(cost, k) for cost, k in found if cost[0] < FORBIDDEN]


def loops_through(
    nodes: Sequence[Array], edges: Sequence[Array], layer: int, limit: int
) -> list[tuple[Cost, int]]:
    """The same for loops, by one backward pass for each node that a lower bound leaves.

    Parameters
    ----------
    nodes : sequence of int64, each of shape (limbs, nodes of the layer)
    edges : sequence of int64, each of shape (limbs, nodes of the layer, nodes of the next)
        As for `shortway.core.shortest_path.kernel.shortest_loop`.
    """
    nodes = [*nodes[layer:], *nodes[:layer]]  # a loop may be read from any layer
    edges = [*edges[layer:], *edges[:layer]]
    bounds = BackwardPass.closed(nodes, edges, np.arange(nodes[0].shape[1])).first
    found: list[tuple[Cost, int]] = []
    for k in np.lexsort(bounds[::-1]).tolist():
        enough = len(found) >= limit and found[limit - 1][0] < cost_at(bounds, k)
        if enough or bounds[0, k] >= FORBIDDEN:
            break
        own = [nodes[0][:, [k]], *nodes[1:]]
        between = [edges[0][:, [k]], *edges[1:-1], edges[-1][:, :, [k]]]
        cost = cost_at(BackwardPass.closed(own, between, np.array([0])).first, 0)
        if cost[0] < FORBIDDEN:
            insort(found, (cost, k))
    return found[:limit]
