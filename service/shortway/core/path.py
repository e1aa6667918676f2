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

Array = NDArray[np.int64]
Index = NDArray[np.intp]
Cost = tuple[int, ...]

#: Bits that one limb may use in all; a forbidden edge costs more than any way within them.
LIMB_BITS: Final = 61
FORBIDDEN: Final = 1 << LIMB_BITS


@dataclass(frozen=True, slots=True)
class Way:
    """One node of each layer, and what the way costs, limb by limb; None if there is no way."""

    nodes: tuple[int, ...]
    cost: Cost


def shortest(nodes: Sequence[Array], edges: Sequence[Array]) -> Way | None:
    """The shortest way from the first layer to the last.

    Parameters
    ----------
    nodes : sequence of int64, each of shape (limbs, nodes of the layer)
        What each node costs.
    edges : sequence of int64, each of shape (limbs, nodes of the layer, nodes of the next)
        What each edge costs; the first limb is `FORBIDDEN` where there is no edge.

    Returns
    -------
    Way or None

    >>> import numpy as np
    >>> nodes = [np.array([[0, 0]]), np.array([[1, 0]])]
    >>> shortest(nodes, [np.array([[[5, 9], [7, 6]]])])
    Way(nodes=(0, 0), cost=(6,))
    """
    values = _backward(nodes, edges, nodes[-1])
    first = _least(values[0])
    return _forward(edges, values, first)


def shortest_loop(nodes: Sequence[Array], edges: Sequence[Array]) -> Way | None:
    """The shortest closed way: the last layer has edges back to the first.

    Parameters
    ----------
    nodes, edges
        As for `shortest`, with as many edges as layers; the last leads from the last layer to the
        first.

    Notes
    -----
    Branch and bound over sets S of first nodes. An open pass that may begin at any node of S and
    end at any node of S bounds every closed way through S from below, node by node of S. If the
    best such way is closed, it is the best through S; if not, S is cut between its two ends. A
    set whose bound exceeds the best closed way known is dropped: it cannot win. Sets are taken
    in order of their bound, so the search ends with a proof.
    """
    best: Way | None = None
    every = np.arange(nodes[0].shape[1])
    heap: list[tuple[Cost, int, Index]] = [((), 0, every)]
    while heap:
        bound, _, chosen = heapq.heappop(heap)
        if best is not None and not _may_win(bound, int(chosen[0]), best):
            continue
        values, bounds = _relaxed(nodes, edges, chosen)
        hopeful, bounds = _hopeful(chosen, bounds, best)
        if len(hopeful) == 0:
            continue
        at = _least(bounds)
        way, end = _closing(edges, values, chosen, int(hopeful[at]))
        cost = _cost(bounds, at)
        if way[0] == end:
            best = Way(way, cost)
        for part in _parts(hopeful, way[0], end):
            if len(part):
                heapq.heappush(heap, (cost, int(part[0]), part))
    return best


# --- passes --------------------------------------------------------------------------------------


def _backward(nodes: Sequence[Array], edges: Sequence[Array], end: Array) -> list[Array]:
    """Cost from every node to the end, its own included, layer by layer."""
    values = [end]
    for layer in range(len(nodes) - 2, -1, -1):
        values.append(_relax(edges[layer], values[-1]) + nodes[layer])
    values.reverse()
    return values


def _relax(edges: Array, values: Array) -> Array:
    """Least of edge and value over the next layer, limb by limb; shape (limbs, nodes)."""
    if len(edges) == 1:
        least: Array = (edges[0] + values[0]).min(axis=1)
        return np.minimum(least, FORBIDDEN, out=least)[None]
    sums = edges + values[:, None, :]
    least_limbs = np.empty(edges.shape[:2], np.int64)
    for limb in range(len(edges)):
        least_limbs[limb] = sums[limb].min(axis=1)
        if limb + 1 < len(edges):
            beaten = sums[limb] > least_limbs[limb][:, None]
            sums[limb + 1][beaten] = FORBIDDEN
    return np.minimum(least_limbs, FORBIDDEN, out=least_limbs)


def _least(values: Array) -> int:
    """Index of the least column, the first of equals."""
    if len(values) == 1:
        return int(values[0].argmin())
    return int(np.lexsort(values[::-1])[0])


def _cost(values: Array, at: int) -> Cost:
    return tuple(values[:, at].tolist())


def _forward(edges: Sequence[Array], values: Sequence[Array], first: int) -> Way | None:
    """The way from `first` that the values promise, always by the lowest index."""
    cost = _cost(values[0], first)
    if cost[0] >= FORBIDDEN:
        return None
    way = [first]
    for layer in range(1, len(values)):
        way.append(_least(edges[layer - 1][:, way[-1], :] + values[layer]))
    return Way(tuple(way), cost)


# --- loops ---------------------------------------------------------------------------------------


def _relaxed(
    nodes: Sequence[Array], edges: Sequence[Array], chosen: Index
) -> tuple[list[Array], Array]:
    """A pass that may begin and end anywhere in `chosen`; values, and the bounds of `chosen`."""
    home = _relax(edges[-1][:, :, chosen], np.zeros((len(edges[-1]), len(chosen)), np.int64))
    values = _backward(nodes, edges, home + nodes[-1])
    return values, values[0][:, chosen]


def _hopeful(chosen: Index, bounds: Array, best: Way | None) -> tuple[Index, Array]:
    """Those first nodes whose bound leaves them a chance."""
    keep = bounds[0] < FORBIDDEN
    if best is not None:
        keep &= np.array(
            [
                _may_win(_cost(bounds, k), node, best) if keep[k] else False
                for k, node in enumerate(chosen.tolist())
            ],
            np.bool_,
        )
    return chosen[keep], bounds[:, keep]


def _may_win(bound: Cost, first: int, best: Way) -> bool:
    return (bound, first) < (best.cost, best.nodes[0])


def _closing(
    edges: Sequence[Array], values: Sequence[Array], chosen: Index, first: int
) -> tuple[tuple[int, ...], int]:
    """The relaxed way from `first`, and the node of `chosen` at which it would end."""
    way = _forward(edges, values, first)
    nodes = (first,) if way is None else way.nodes
    last = edges[-1][:, nodes[-1], :][:, chosen]
    # Where the start itself is among the best ends, the way is closed.
    at = _least(last)
    own = int(np.nonzero(chosen == first)[0][0])
    if _cost(last, own) == _cost(last, at):
        at = own
    return nodes, int(chosen[at])


def _parts(chosen: Index, first: int, end: int) -> tuple[Index, ...]:
    """`chosen` cut between two different ends; where they are one, what could still tie."""
    if first == end:
        return (chosen[chosen < first],)
    cut = (first + end) // 2
    return chosen[chosen <= cut], chosen[chosen > cut]
