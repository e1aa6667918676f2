"""Folded paths: the best path through layers whose costs are given figure by figure.

Knows the kernel and no music. Weights decide first; after them the sums of `PointProblem`.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from shortway.core.shortest_path.least_cost import NEVER, NEVER_64
from shortway.core.shortest_path.point_problem import (
    Integers,
    PointProblem,
    PointSeam,
    packed_layer,
)
from shortway.core.shortest_path.points import best_paths

Array = NDArray[np.int64]


class RankedPath(NamedTuple):
    """A node of each layer, and the sums that decide in the order of preference."""

    nodes: tuple[int, ...]
    sums: tuple[int, ...]


class FoldedPaths(NamedTuple):
    """Layers and what they cost.

    Attributes
    ----------
    nodes : sequence of int64, each of shape (3, nodes)
        Weight, `early` and `late`.
    edges : sequence of int64, each of shape (5, from, to)
        Weight, distance, distance of the first coordinate, squares, distance of the last one.
    entry : int64, shape (5, 1, nodes), or None
        What leading into the first layer costs.
    closed : bool
        Whether paths are loops.
    """

    nodes: Sequence[Array]
    edges: Sequence[Array]
    entry: Array | None
    closed: bool

    def bound(self) -> int:
        """A weight that no path goes below; a loop may end anywhere."""
        rest = self.nodes[-1][0]
        if self.closed:
            rest = np.minimum(rest + self.edges[-1][0].min(axis=1), NEVER_64)
        inner = self.edges[: len(self.nodes) - 1]
        for own, of in zip(self.nodes[-2::-1], inner[::-1], strict=True):
            rest = np.minimum((of[0] + rest).min(axis=1) + own[0], NEVER_64)
        return int((rest if self.entry is None else rest + self.entry[0, 0]).min())

    def best(self) -> RankedPath | None:
        """The best path; None if none exists."""
        for bits in (32, 64):
            found = best_paths(self._problem(bits))
            if found:
                return RankedPath(found[0], self._sums(found[0]))
        return None

    def _problem(self, bits: int) -> PointProblem:
        """What the kernel searches: points without a distance, and all figures of all edges."""

        def cost(of: Array) -> Integers:
            return of if bits == 64 else np.minimum(of, NEVER).astype(np.int32, order="C")

        def packed(of: Array) -> bytes:
            nowhere = np.zeros((1, of.shape[1]), np.int16)
            return packed_layer(nowhere, cost(of[0]), of[1].astype(np.int32), of[2])

        def seam(of: Array) -> PointSeam:
            return PointSeam(0, 0, 0, 0, cost(of[0]), *of[1:].astype(np.int32, order="C"))

        layers, seams = [packed(of) for of in self.nodes], [seam(of) for of in self.edges]
        found = PointProblem(layers, [1] * len(layers), seams, 1, 0, self.closed, bits=bits)
        if self.entry is None:
            return found
        return found._replace(before=packed(np.zeros((3, 1), np.int64)), entry=seam(self.entry))

    def _sums(self, path: tuple[int, ...]) -> tuple[int, ...]:
        own = [of[:, k] for of, k in zip(self.nodes, path, strict=True)]
        weight, early, late = np.sum(own, axis=0).tolist()
        ends = pairwise([*path, path[0]])
        moved = [of[:, i, j] for of, (i, j) in zip(self.edges, ends, strict=False)]
        moved += [] if self.entry is None else [self.entry[:, 0, path[0]]]
        cost, distance, *rest = np.sum([np.zeros(5, np.int64), *moved], axis=0).tolist()
        return weight + cost, distance, early, *rest, late
