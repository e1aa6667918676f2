"""The costs of all edges between layers of points, and least costs over them, by numpy.

Knows no music. Edges are computed in few calls, for seams whose layers are of about one size
together, and kept for other problems with the same layers.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Cache, Memo
from shortway.core.cancellation import checkpoint
from shortway.core.shortest_path.least_cost import NEVER
from shortway.core.shortest_path.point_problem import (
    Integers,
    PointLayer,
    PointProblem,
    PointSeam,
    unpacked_layer,
)

#: Price of an edge up to which it is an int16.
_CHEAP: Final = 8_191
#: Most edges whose costs are computed at a time.
_AT_ONCE: Final = 60_000
#: Nodes to which layers are padded.
_WIDTHS: Final = (64, 96, 128)


class EdgeCosts:
    """The costs of all edges, and least costs over them.

    Attributes
    ----------
    layers : list of PointLayer
        By level; in a loop the first layer is the last one, too.
    edges : list of int32 arrays, each of shape (nodes of the next level, nodes)
        Each with the cost of the node from which it leads.
    into : int32, shape (nodes of the first layer,)
        What leading into each node costs.
    """

    def __init__(self, problem: PointProblem) -> None:
        checkpoint()
        self.problem = problem
        different = {id(packed): packed for packed in problem.layers}
        self.known = {key: _layer(packed) for key, packed in different.items()}
        layers = [self.known[id(packed)] for packed in problem.layers]
        self.layers = [*layers, *layers[: problem.closed]]
        self.edges = self._edges()
        self.into = np.zeros(layers[0].nodes, np.int32)
        if problem.before is not None:
            self.before = unpacked_layer(problem.before)
            costs = self._between([self.before], layers[:1], [problem.entry])[0]
            self.into = costs[: layers[0].nodes, 0].copy()

    def _edges(self) -> list[Integers]:
        """Those of seams that are alike are computed once, those of one shape together."""
        packed, seams = self.problem.layers, self.problem.seams
        found: list[Integers] = [self.layers[0].cost] * len(seams)
        alike: dict[_Key, list[int]] = {}
        for k, seam in enumerate(seams):
            if seam.all is not None:
                found[k] = seam.all.T + self.layers[k].cost
                continue
            key: _Key = (id(packed[k]), id(packed[(k + 1) % len(packed)]), *seam[:4])
            alike.setdefault(key, []).append(k)
        known = {key: _EDGES.find(key) for key in alike}
        groups: dict[tuple[int, int], list[_Key]] = {}
        for key, edges in known.items():
            if edges is None:
                k = alike[key][0]
                shape = _width(self.layers[k + 1].nodes), _width(self.layers[k].nodes)
                groups.setdefault(shape, []).append(key)
        for shape, keys in groups.items():
            self._compute(shape, keys, alike, known)
        for key, edges in known.items():
            for k in alike[key]:
                found[k] = edges.costs  # type: ignore[union-attr]
        return found

    def _compute(
        self, shape: tuple[int, int], keys: list[_Key], alike: Mapping[_Key, list[int]],
        known: dict[_Key, _Edges | None],
    ) -> None:  # fmt: skip
        """Add the edges of seams whose layers are of one width."""
        step = max(1, _AT_ONCE // (shape[0] * shape[1]))
        seams, packed = self.problem.seams, self.problem.layers
        for first in range(0, len(keys), step):
            some = keys[first : first + step]
            at = [alike[key][0] for key in some]
            a, b = ([self.layers[k + on] for k in at] for on in (0, 1))
            costs = self._between(a, b, [seams[k] for k in at])
            for key, k, cost, of, to in zip(some, at, costs, a, b, strict=True):
                own = cost[: to.nodes, : of.nodes] + of.cost
                known[key] = edges = _Edges(own, packed[k], packed[(k + 1) % len(packed)])
                _EDGES.put(key, edges)

    def _between(
        self, a: list[PointLayer], b: list[PointLayer], seams: list[PointSeam]
    ) -> Integers:
        """Costs from layers `a` to layers `b`, each of one size; shape (seams, to, from)."""
        checkpoint()
        apart = self.problem.apart
        before, after = _padded(a), _padded(b)
        total, way = _distances(before, after, apart)
        unmoved = total == 0
        if apart:
            unmoved &= before[:, 0, None, :] == after[:, 0, :, None]
        for mask, prices in (
            (way == 0, [s.last for s in seams]),
            (unmoved, [s.equal for s in seams]),
        ):
            cheap = np.array([p if p <= _CHEAP else 0 for p in prices], np.int16)
            if cheap.any():
                total += np.multiply(mask, cheap[:, None, None], dtype=np.int16)
        costs = total.astype(np.int32)
        for k, seam in enumerate(seams):
            if seam.all is not None:
                costs[k, : b[k].nodes, : a[k].nodes] = seam.all.T
                continue
            if seam.equal > _CHEAP:
                costs[k] += unmoved[k] * np.int32(seam.equal)
            if seam.last > _CHEAP:
                costs[k] += (way[k] == 0) * np.int32(seam.last)
            if seam.up or seam.down:
                rise = way[k].astype(np.int32)
                costs[k] += np.where(rise > 0, rise * seam.up, -rise * seam.down)
        return costs

    @cached_property
    def to_go(self) -> list[Integers]:
        """Least cost from every node to the end, by level, of shape (nodes,); in a loop to any."""
        last = self.layers[-1].cost
        return self.costs_to_go(np.zeros_like(last) if self.problem.closed else last)

    def costs_to_go(self, rest: Integers) -> list[Integers]:
        """The same where the nodes of the last level cost `rest`, of shape (nodes,)."""
        found = [rest]
        for edges in reversed(self.edges):
            rest = np.minimum.reduce(edges + rest[:, None], axis=0)
            found.append(np.minimum(rest, NEVER, out=rest))
        return found[::-1]

    @cached_property
    def so_far(self) -> list[Integers]:
        """The same up to every node, of shape (nodes,), without its own."""
        paid = self.into
        found = [paid]
        for edges in self.edges:
            paid = np.minimum.reduce(edges + paid, axis=1)
            found.append(np.minimum(paid, NEVER, out=paid))
        return found

    @property
    def ends(self) -> dict[int, int]:
        """What the nodes of the last layer cost."""
        return dict(enumerate(self.layers[-1].cost.tolist()))

    def least_above(self, most: int, bounds: Integers) -> int:
        """The least bound of a node above `most`; `NEVER` - 1 without one.

        `bounds` are of shape (nodes of the first layer,).
        """
        through = [bounds, *(a + b for a, b in zip(self.so_far[1:], self.to_go[1:], strict=True))]
        if self.problem.closed:
            through.pop()
        return min(int(of[of > most].min(initial=NEVER - 1)) for of in through)

    def tied(
        self, rows: list[int], to_go: Sequence[Integers]
    ) -> Iterator[tuple[list[int], list[int]]]:
        """The edges of all paths of least cost from the nodes `rows`, by seam: from and to.

        `to_go` has the least costs to the end, by level, of shape (nodes,).
        """
        for edges, due, ahead in zip(self.edges, to_go, to_go[1:], strict=False):
            if len(rows) == 1:
                to = (edges[:, rows[0]] + ahead == due[rows[0]]).nonzero()[0].tolist()
                yield rows * len(to), to
                rows = to
            else:
                start, end = (edges.T[rows] + ahead == due[rows, None]).nonzero()
                to = end.tolist()
                yield [rows[i] for i in start.tolist()], to
                rows = sorted(set(to))

    def within(self, most: int, bounds: Integers) -> Iterator[tuple[list[int], list[int]]]:
        """The edges of all paths of at most `most`, by seam: from and to.

        `bounds` are of shape (nodes of the first layer,).
        """
        rows = (bounds <= most).nonzero()[0]
        for k, edges in enumerate(self.edges):
            due = most - self.so_far[k][rows]
            cheap = np.less_equal(edges.T[rows] + self.to_go[k + 1], due[:, None])
            start, end = cheap.nonzero()
            yield rows[start].tolist(), end.tolist()
            rows = np.flatnonzero(cheap.any(axis=0))


def _width(nodes: int) -> int:
    return next((of for of in _WIDTHS if of >= nodes), nodes)


def _padded(layers: Sequence[PointLayer]) -> NDArray[np.int16]:
    """Points of shape (layers, coordinates, nodes), with zeros beyond the nodes of each layer."""
    width = _width(max(of.nodes for of in layers))
    found = np.zeros((len(layers), len(layers[0].points), width), np.int16)
    for to, of in zip(found, layers, strict=True):
        to[:, : of.nodes] = of.points
    return found


class _Edges(NamedTuple):
    """The costs of a seam's edges, and what they were computed of, so that no other has its ids."""

    costs: Integers
    before: bytes
    after: bytes


_Key = tuple[int, ...]
_EDGES: Final[Cache[_Key, _Edges]] = Cache("edges", 68 << 20, lambda of: of.costs.nbytes + 400)
_LAYERS: Final[Memo[int, tuple[bytes, PointLayer]]] = Memo(
    "unpacked points", 4 << 20, lambda of: len(of[0]) + 900
)


def _layer(packed: bytes) -> PointLayer:
    key = id(packed)
    return (_LAYERS.get(key) or _LAYERS.recall(key, lambda: (packed, unpacked_layer(packed))))[1]


def _distances(
    a: NDArray[np.int16], b: NDArray[np.int16], apart: int
) -> tuple[NDArray[np.int16], NDArray[np.int16]]:
    """Distances without the coordinates `apart`, and how far the last coordinate rises.

    `a` and `b` are of shape (seams, coordinates, nodes), the results of shape (seams, to, from).
    """
    last = a.shape[1] - 1
    way = b[:, last, :, None] - a[:, last, None, :]
    total = np.abs(way)
    part = np.empty_like(way)
    for voice in range(apart, last):
        np.subtract(b[:, voice, :, None], a[:, voice, None, :], out=part)
        total += np.abs(part, out=part)
    return total, way
