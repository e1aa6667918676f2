"""Least cost: every path of least cost through layers of nodes, by dynamic programming.

Knows no music: integer arrays in, indices out. A cost is one int32. Which of the paths is best by
further criteria is for the caller; few are left.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Costs = NDArray[np.int32]

#: A cost that no path has; four of them fit 32 bits.
NEVER: Final = 1 << 28


class TiedPaths(NamedTuple):
    """All paths of one cost, as a graph.

    Attributes
    ----------
    nodes : list of list of int
        The nodes of each layer that lie on one of them, ascending.
    edges : sequence of mapping of int to list of int
        From each of these nodes to those of the next layer, ascending.
    """

    nodes: list[list[int]]
    edges: Sequence[Mapping[int, list[int]]]

    @property
    def size(self) -> int:
        """The number of edges."""
        return sum(len(after) for of in self.edges for after in of.values())


def costs_to_go(nodes: Sequence[Costs], edges: Sequence[Costs]) -> list[Costs]:
    """Least cost from every node to the last layer, its own included.

    Parameters
    ----------
    nodes : sequence of int32 arrays, each of shape (nodes of the layer,)
    edges : sequence of int32 arrays, each of shape (nodes of the layer, nodes of the next)
        `NEVER` where there is no edge.

    Returns
    -------
    list of int32 arrays, each of shape (nodes of the layer,)
        `NEVER` where no path exists.
    """
    found = [nodes[-1]]
    for own, moves in zip(reversed(nodes[:-1]), reversed(edges), strict=True):
        here = np.minimum.reduce(moves + found[-1], axis=1)
        here += own
        found.append(np.minimum(here, NEVER, out=here))
    return found[::-1]


def tied_paths(
    nodes: Sequence[Costs], edges: Sequence[Costs], to_go: Sequence[Costs], starts: list[int]
) -> TiedPaths:
    """Of the paths from each of `starts` those of least cost.

    `nodes`, `edges` and `to_go` are of the shapes in `costs_to_go`, whose result `to_go` is.
    """
    rows = starts
    kept, followed = [rows], []
    for own, moves, (here, ahead) in zip(nodes[:-1], edges, pairwise(to_go), strict=True):
        due = here - own
        if len(rows) == 1:
            row = rows[0]
            after = {row: (moves[row] + ahead == due[row]).nonzero()[0].tolist()}
            rows = after[row]
        else:
            tight = moves[rows] + ahead == due[rows][:, None]
            after = {row: np.nonzero(of)[0].tolist() for row, of in zip(rows, tight, strict=True)}
            rows = sorted(set().union(*after.values()))
        kept.append(rows)
        followed.append(after)
    return TiedPaths(kept, followed)
