"""Layers of points: what `points.best_paths` searches.

Knows no music. A path's cost is the sum of its nodes' and its edges' costs; an edge costs the
Manhattan distance of its points, and more where they are equal. Of paths of least cost the best is
the first by six sums in this order: distance, `early`, distance of the first coordinate where it is
counted apart, squared distances by coordinate, distance of the last coordinate, `late`; of equals
the one with the lowest index at the first layer, then at the second, and so on.
"""

from __future__ import annotations

from struct import pack
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from shortway.core.shortest_path.least_cost import NEVER

#: Costs: int32, or int64 in a problem of 64 bits.
Integers = NDArray[np.int32 | np.int64]

#: Layers are padded to a multiple of so many nodes.
LANES: Final = 16


class PointSeam(NamedTuple):
    """What an edge costs beside its distance.

    Attributes
    ----------
    equal, last : int
        Where the points are equal; where their last coordinates are. 0 to `NEVER`.
    up, down : int
        For each unit by which the last coordinate rises; by which it falls.
    all : int32, shape (nodes, nodes of the next layer), or None
        The whole cost of every edge, 0 to `NEVER`, instead of all that; with 64 bits int64.
    motion, apart, squares, top : int32, each of the shape of `all`, or None
        The four sums of every edge that decide after cost, instead of those of its points.
    """

    equal: int
    last: int
    up: int = 0
    down: int = 0
    all: Integers | None = None
    motion: Integers | None = None
    apart: Integers | None = None
    squares: Integers | None = None
    top: Integers | None = None


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
    bits : int
        Of a cost, 32 or 64; with 64 a cost is at most `NEVER_64`, and numpy finds the paths.
    """

    layers: list[bytes]
    weights: list[int]
    seams: list[PointSeam]
    coordinates: int
    apart: int
    closed: bool
    before: bytes | None = None
    entry: PointSeam = PointSeam(0, 0)
    bits: int = 32


class PointLayer(NamedTuple):
    """The nodes of a layer.

    Attributes
    ----------
    nodes : int
    points : int16, shape (coordinates, nodes)
        Each from 0 to 1023.
    late : int64, shape (nodes,)
    cost, early : int32, shape (nodes,)
        `cost` is from 0 to `NEVER`; in a problem of 64 bits int64, and to `NEVER_64`.
    """

    nodes: int
    points: NDArray[np.int16]
    late: NDArray[np.int64]
    cost: Integers
    early: Integers


def packed_layer(
    points: NDArray[np.int16], cost: Integers, early: Integers, late: NDArray[np.int64]
) -> bytes:
    """The nodes of a layer as the kernels read them, padded; the arrays are those of `PointLayer`.

    A padding node costs `NEVER`.
    """
    coordinates, nodes = points.shape
    stride = nodes + -nodes % LANES
    parts = (
        (points, np.int16, 0),
        (late, np.int64, 0),
        (cost, cost.dtype, NEVER),
        (early, np.int32, 0),
    )
    packed = [pack("=4i", nodes, coordinates, cost.itemsize, 0)]
    for values, kind, filler in parts:
        padded = np.full((*values.shape[:-1], stride), filler, kind)
        padded[..., :nodes] = values
        packed.append(padded.tobytes())
    return b"".join(packed)


def unpacked_layer(packed: bytes) -> PointLayer:
    """What `packed_layer` packed."""
    nodes, coordinates, size, _ = np.frombuffer(packed, np.int32, 4).tolist()
    stride = nodes + -nodes % LANES
    late = 16 + 2 * coordinates * stride
    points = np.frombuffer(packed, np.int16, coordinates * stride, 16).reshape(coordinates, stride)
    after = np.frombuffer(packed, np.int64, nodes, late)
    cost = np.frombuffer(packed, f"i{size}", nodes, late + 8 * stride)
    early = np.frombuffer(packed, np.int32, nodes, late + (8 + size) * stride)
    return PointLayer(nodes, points[:, :nodes], after, cost, early)
