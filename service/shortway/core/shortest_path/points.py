"""The best paths through layers of points, open or as loops, by a kernel compiled from C.

Knows no music: integer arrays in, indices out. The kernel is an optional part of an installation;
`least_cost`, `k_best` and the caller's own tie-breaking find the same paths without it. A path's
cost is the sum of its nodes' and its edges' costs; an edge costs the Manhattan distance of its
points, and more where they are equal. Of paths of least cost the best is the first by six sums in
this order: distance, `early`, distance of the first coordinate where it is counted apart, squared
distances by coordinate, distance of the last coordinate, `late`; of equals the one with the lowest
index at the first layer, then at the second, and so on.
"""

from __future__ import annotations

from struct import pack
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from shortway.core.cancellation import checkpoint
from shortway.core.shortest_path.least_cost import NEVER

try:
    from shortway.core.shortest_path import _points
except ImportError:  # installed without a C compiler
    NATIVE = False
else:
    NATIVE = True

#: Layers are padded to a multiple of so many nodes.
_LANES: Final = 16


def implementation() -> str:
    """What finds the best paths where it can: ``compiled`` or ``numpy``."""
    return "compiled" if NATIVE else "numpy"


Integers = NDArray[np.int32]


class PointSeam(NamedTuple):
    """What an edge costs beside its distance.

    Attributes
    ----------
    equal, last : int
        Where the points are equal; where their last coordinates are. 0 to `NEVER`.
    up, down : int
        For each unit by which the last coordinate rises; by which it falls.
    all : int32, shape (nodes, nodes of the next layer), or None
        The whole cost of every edge, instead of all that.
    """

    equal: int
    last: int
    up: int = 0
    down: int = 0
    all: Integers | None = None


def packed_layer(
    points: NDArray[np.int16],
    cost: Integers,
    early: Integers,
    late: NDArray[np.int64],
) -> bytes:
    """The nodes of a layer as the kernel reads them.

    Parameters
    ----------
    points : int16, shape (coordinates, nodes)
        Each from 0 to 1023.
    cost, early : int32, shape (nodes,)
        `cost` is from 0 to `NEVER`.
    late : int64, shape (nodes,)
    """
    coordinates, nodes = points.shape
    stride = nodes + -nodes % _LANES
    parts = (
        (points, np.int16, 0),
        (late, np.int64, 0),
        (cost, np.int32, NEVER),
        (early, np.int32, 0),
    )
    packed = [pack("=4i", nodes, coordinates, 0, 0)]
    for values, kind, filler in parts:
        padded = np.full((*values.shape[:-1], stride), filler, kind)
        padded[..., :nodes] = values
        packed.append(padded.tobytes())
    return b"".join(packed)


class PointProblem(NamedTuple):
    """Layers of points.

    Attributes
    ----------
    layers : list of bytes
        By `packed_layer`, all of points with the same number of coordinates.
    weights : list of int
        How often `late` counts in each layer, and how much it counts that two paths differ there.
    seams : list of PointSeam
        Between the layers; in a loop the last leads from the last layer to the first.
    coordinates : int
        1 to 16.
    apart : int
        How many coordinates, none or the first one, count as a distance of their own and not as
        cost.
    closed : bool
        Whether paths are loops.
    before : bytes or None
        A point, by `packed_layer`, that leads into the first layer.
    entry : PointSeam
        What leading in costs.
    """

    layers: list[bytes]
    weights: list[int]
    seams: list[PointSeam]
    coordinates: int
    apart: int
    closed: bool
    before: bytes | None = None
    entry: PointSeam = PointSeam(0, 0)


def best_paths(problem: PointProblem, count: int = 1, differs: int = 1) -> list[tuple[int, ...]]:
    """The best path and its alternatives, as the index of a node for each layer.

    Each is the best of those that differ from all before it in layers of a weight of `differs`;
    there are fewer where no more exist.

    Raises
    ------
    ValueError
        If the arrays do not fit each other, or a number is out of range.
    """
    of = problem
    options = of.coordinates, of.apart, of.closed, count, differs, checkpoint
    return _points.best_paths(of.layers, of.weights, of.seams, of.before, of.entry, *options)
