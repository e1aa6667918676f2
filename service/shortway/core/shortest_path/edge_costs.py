"""The costs of all edges between layers of points, and least costs over them, by numpy.

Knows no music. Edges are computed in few calls, for seams whose layers are of about one size
together, and kept for other problems with the same layers.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Cache, Memo
from shortway.core.cancellation import checkpoint
from shortway.core.shortest_path.codes import Codes, Index
from shortway.core.shortest_path.least_cost import NEVER, NEVER_64
from shortway.core.shortest_path.point_problem import (
    Integers,
    PointLayer,
    PointProblem,
    PointSeam,
    unpacked_layer,
)

#: States from which edges lead, and those to which they do.
Ends = tuple[list[int], list[int]]

#: Price of an edge up to which it is an int16.
_CHEAP: Final = 8_191
#: Most edges whose costs are computed at a time, or added to what comes after.
_AT_ONCE: Final = 60_000
#: Nodes to which layers are padded.
_WIDTHS: Final = (64, 96, 128)


class EdgeCosts:
    """The costs of all edges, and least costs over them.

    Attributes
    ----------
    layers : list of PointLayer
        By level; in a loop the first layer is the last one, too.
    edges : list of arrays, each of shape (nodes of the next level, nodes)
        Each with the cost of the node from which it leads; int32, or int64 with 64 bits.
    into : array of the same type, shape (nodes of the first layer,)
        What leading into each node costs.
    never : int
        A cost that no path has.
    """

    def __init__(self, problem: PointProblem) -> None:
        checkpoint()
        self.problem = problem
        self.kind: type[np.int32 | np.int64] = np.int32 if problem.bits == 32 else np.int64
        self.never = NEVER if problem.bits == 32 else NEVER_64
        different = {id(packed): packed for packed in problem.layers}
        self.known = {key: _layer(packed) for key, packed in different.items()}
        layers = [self.known[id(packed)] for packed in problem.layers]
        self.layers = [*layers, *layers[: problem.closed]]
        self.edges = self._edges()
        self.into = np.zeros(layers[0].nodes, self.kind)
        self._last: tuple[Integers, list[Integers]] = (self.into, [])
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
        costs: Integers = np.asarray(total, self.kind)
        for k, seam in enumerate(seams):
            if seam.all is not None:
                costs[k, : b[k].nodes, : a[k].nodes] = seam.all.T
                continue
            if seam.equal > _CHEAP:
                costs[k] += unmoved[k] * self.kind(seam.equal)
            if seam.last > _CHEAP:
                costs[k] += (way[k] == 0) * self.kind(seam.last)
            if seam.up or seam.down:
                rise = way[k].astype(self.kind)
                costs[k] += np.where(rise > 0, rise * seam.up, -rise * seam.down)
        return costs

    def round(self) -> Integers:
        """In a loop, least cost from any node of the first layer to each; shape (nodes,)."""
        paid = self.into
        for edges in self.edges:
            paid = np.minimum.reduce(edges + paid, axis=1)
            np.minimum(paid, self.never, out=paid)
        return paid

    def costs_to_go(self, rest: Integers) -> list[Integers]:
        """Least cost from every node to the end, by level, each of shape (nodes,).

        The nodes of the last level cost `rest`. The last result is kept.
        """
        if rest is not self._last[0]:
            found = [rest]
            for edges in reversed(self.edges):
                ahead = np.minimum.reduce(edges + found[-1][:, None], axis=0)
                found.append(np.minimum(ahead, self.never, out=ahead))
            self._last = rest, found[::-1]
        return self._last[1]

    def coded_costs_to_go(
        self, free: Sequence[Integers], codes: Codes
    ) -> tuple[list[Integers], list[Integers]]:
        """The same by codes of prefixes, where the last code goes on as `free`.

        Of prefixes with the node of a level, and of those to which it is still to be added; each of
        shape (codes, nodes).
        """
        found: list[Integers] = []
        before: list[Integers] = []
        for level in range(len(self.edges), -1, -1):
            checkpoint()
            rest = np.full((codes.count, len(free[level])), self.never, self.kind)
            rest[-1] = free[level]
            if before:
                edges, (code, node) = self.edges[level].T, codes.reached[level]
                step = max(1, _AT_ONCE // edges.shape[1])
                for first in range(0, len(code), step):
                    some = code[first : first + step], node[first : first + step]
                    least = np.minimum.reduce(edges[some[1]] + before[-1][some[0]], axis=1)
                    rest[some] = np.minimum(least, self.never, out=least)
            found.append(rest)
            before.append(codes.before(level, rest))
        return found[::-1], before[::-1]

    def tied(self, nodes: list[int], to_go: Sequence[Integers]) -> Iterator[Ends]:
        """The edges of all paths of least cost from `nodes`, by seam: from and to.

        `to_go` has the least costs to the end, by level, each of shape (nodes,).
        """
        for edges, due, ahead in zip(self.edges, to_go, to_go[1:], strict=False):
            if len(nodes) == 1:
                to = (edges[:, nodes[0]] + ahead == due[nodes[0]]).nonzero()[0].tolist()
                yield nodes * len(to), to
                nodes = to
            else:
                start, end = (edges.T[nodes] + ahead == due[nodes, None]).nonzero()
                to = end.tolist()
                yield [nodes[i] for i in start.tolist()], to
                nodes = sorted(set(to))

    def coded_ties(
        self,
        states: Index,
        to_go: Sequence[Integers],
        before: Sequence[Integers],
        codes: Codes,
    ) -> Iterator[Ends]:
        """The same from and to states, node * codes + code, by both of `coded_costs_to_go`."""
        for level, edges in enumerate(self.edges):
            nodes, code = np.divmod(states, codes.count)
            ahead, due = before[level + 1][code], to_go[level][code, nodes]
            start, end = (edges.T[nodes] + ahead == due[:, None]).nonzero()
            to = codes.states(level + 1, code[start], end)
            yield states[start].tolist(), to.tolist()
            states = np.unique(to)


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
_EDGES: Final[Cache[_Key, _Edges]] = Cache(
    "edges", 52 << 20, lambda of: of.costs.nbytes + len(of.before) + len(of.after) + 400
)
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
