"""The best path through layers of points, open or as a loop, by a kernel compiled from C.

Knows no music: integer arrays in, indices out. The kernel is an optional part of an installation;
`least_cost` and the caller's own tie-breaking find the same path without it. A path's cost is the
sum of its nodes' and its edges' costs; an edge costs the Manhattan distance of its points, and
more where they are equal. Of paths of least cost the best is the first by six sums in this order:
distance, `early`, distance of the coordinates that are counted apart, squared distances by
coordinate, distance of the last coordinate, `late`; of equals the one with the lowest index at the
first layer, then at the second, and so on.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

try:
    from shortway.core.shortest_path import _points
except ImportError:  # installed without a C compiler
    NATIVE = False
else:
    NATIVE = True


def implementation() -> str:
    """What finds the best path where it can: ``compiled`` or ``numpy``."""
    return "compiled" if NATIVE else "numpy"


Integers = NDArray[np.int32]


class PointLayer(NamedTuple):
    """The nodes of a layer.

    Attributes
    ----------
    points : int16, shape (coordinates, nodes)
        Each from 0 to 2047.
    cost, early : int32, shape (nodes,)
    late : int64, shape (nodes,)
    weight : int
        How often `late` counts.
    """

    points: NDArray[np.int16]
    cost: Integers
    early: Integers
    late: NDArray[np.int64]
    weight: int


class PointSeam(NamedTuple):
    """What an edge costs beside its distance.

    Attributes
    ----------
    equal, last : int
        Where the points are equal; where their last coordinates are.
    all : int32, shape (nodes, nodes of the next layer), or None
        The whole cost of every edge, instead of all that.
    """

    equal: int
    last: int
    all: Integers | None = None


def best_path(
    layers: list[PointLayer], seams: list[PointSeam], apart: int, *, closed: bool
) -> list[int] | None:
    """The best path as the index of a node for each layer; None if none exists.

    Parameters
    ----------
    layers : list of PointLayer
        Of points with 1 to 16 coordinates.
    seams : list of PointSeam
        Between the layers; in a loop the last leads from the last layer to the first.
    apart : int
        How many coordinates, the first ones, count as a distance of their own and not as cost.
    closed : bool
        Whether the path is a loop.

    Raises
    ------
    ValueError
        If the arrays do not fit each other, or a coordinate is out of range.
    """
    return _points.best_path(layers, seams, len(layers[0].points), apart, closed)
