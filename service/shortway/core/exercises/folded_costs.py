"""Folded costs: nodes and edges of a problem of several keys, folded to the layers of one.

Knows path problems, the order of preference and the kernel. A move costs the same in every key: it
is computed once, between voicings of the first key, and counted as often as it is made.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from shortway.core.exercises.key_copies import stacked_notes
from shortway.core.shortest_path.kernel import FORBIDDEN, BackwardPass
from shortway.core.solver.problem import PathProblem
from shortway.core.voice_leading.distance import Moves, moves_between
from shortway.core.voice_leading.move_costs import ChordChange, move_costs
from shortway.core.voice_leading.objective import FIELDS, Array, Packing, against, packing
from shortway.core.voicings.candidate_arrays import Mask

Index = NDArray[np.intp]


class FoldedMove(NamedTuple):
    """What a move from layer to layer depends on beside the voicings, seen from the first key.

    `by` are the semitones by which the next voicing lies higher than in the first key.
    """

    by: int
    change: ChordChange
    anew: bool
    must_change: bool


class OctaveWindow(NamedTuple):
    """A way to lay the keys in octaves: rows of each layer, shape (keys, nodes), and joins."""

    rows: list[Index]
    joins: Counter[FoldedMove]


class _Edges(NamedTuple):
    """Moves between two layers: fields of shape (from, to), and which moves are forbidden."""

    fields: Mapping[str, NDArray[Any]]
    forbidden: Mask | None

    def most(self, field: str) -> int:
        """The largest entry of a field."""
        return int(self.fields[field].max()) if field in self.fields else 0

    def pack(self, places: Packing) -> Array:
        """The costs packed, those of forbidden moves as if they were not."""
        return places.pack(self.fields["cost"].shape, **self.fields)


class FoldedCosts:
    """The costs of nodes and edges between all voicings of the first key that a window has.

    Parameters
    ----------
    problem : PathProblem
        All keys, each with as many layers.
    inner : sequence of Counter
        The moves out of each layer but a key's last.
    windows : sequence of OctaveWindow
        One or more.
    closed : bool
        Whether a key's last layer leads to the first layer.

    Raises
    ------
    TooLarge
        As `packed_costs` does.
    """

    def __init__(
        self,
        problem: PathProblem,
        inner: Sequence[Counter[FoldedMove]],
        windows: Sequence[OctaveWindow],
        *,
        closed: bool,
    ) -> None:
        problem.refuse_too_large()
        self.problem, self.closed, self.keys = problem, closed, len(windows[0].rows[0])
        layers = range(len(inner) + 1)
        self.layers = [range(layer, len(problem.layers), len(layers)) for layer in layers]
        self.own = [
            np.unique(np.concatenate([window.rows[layer][0] for window in windows]))
            for layer in layers
        ]
        self.voicings = [problem.candidates[layer].take(self.own[layer]) for layer in layers]
        last = layers[-1]
        joins = {move: self._edges(last, 0, move) for window in windows for move in window.joins}
        within = [
            {move: self._edges(layer, layer + 1, move) for move in moves}
            for layer, moves in enumerate(inner)
        ]
        self.places = packing(self._largest_sums([*within, joins]))
        self.joins = {move: (of.pack(self.places), of.forbidden) for move, of in joins.items()}
        self.inner = [
            _total([(counts[move], of.pack(self.places), of.forbidden) for move, of in to.items()])
            for counts, to in zip(inner, within, strict=True)
        ]
        sizes = [[len(problem.candidates[k]) for k in of] for of in self.layers]
        self.starts = [np.cumsum([0, *of[:-1]])[:, None] for of in sizes]
        self.nodes = [self._packed_nodes(layer) for layer in layers]

    def _edges(self, layer: int, after: int, move: FoldedMove) -> _Edges:
        """The edges for all moves in the first key."""
        a, b = self.voicings[layer], self.voicings[after]
        if move.by:
            b = replace(b, notes=np.where(b.notes >= 0, b.notes + move.by, b.notes))
        split, top_line = self.problem.setting.split_cost, self.problem.top_line
        moves, forbidden = moves_between(a, b, split), None
        line = None if move.anew else against(a, b, top_line)
        if move.must_change:
            notes = stacked_notes([a, b])
            forbidden = (notes[: len(a), None] == notes[None, len(a) :]).all(axis=2)
        return _Edges(_fields(moves, move_costs(a, b, split, move.change), line), forbidden)

    def _largest_sums(self, layers: Sequence[Mapping[FoldedMove, _Edges]]) -> dict[str, int]:
        """What no path exceeds, by field of the order of preference."""
        most: Counter[str] = Counter(dict.fromkeys(FIELDS, 0))
        for moves in layers:
            for name in FIELDS:
                most[name] += self.keys * max((of.most(name) for of in moves.values()), default=0)
        for costs, layer in zip(self.problem.costs, self.problem.layers, strict=True):
            own = costs.most()
            most.update(own | {"home": own["home"] * len(layer.steps)})
        for name, values in self.entry.items():
            most[name] += int(values.max())
        return most

    @cached_property
    def entry(self) -> Mapping[str, NDArray[Any]]:
        """The moves from the notes that sounded to each candidate of the first layer."""
        moves, problem = self.problem.entry(), self.problem
        if moves is None or problem.before is None:
            return {}
        line = against(problem.before, problem.candidates[0], problem.top_line)
        return {name: of[0] for name, of in _fields(moves, moves.motion, line).items()}

    def _packed_nodes(self, layer: int) -> Array:
        """The costs of a layer's candidates in one key after the other, (limbs, candidates)."""
        of = [(self.problem.costs[k], self.problem.layers[k]) for k in self.layers[layer]]
        fields = {
            "cost": np.concatenate([costs.price for costs, _ in of]),
            "lacking": np.concatenate([costs.lacking for costs, _ in of]),
            "home": np.concatenate([costs.home * len(to.steps) for costs, to in of]),
        }
        found = self.places.pack(fields["cost"].shape, **fields)
        if layer == 0 and self.entry:
            size = len(of[0][0].price)
            found[:, :size] += self.places.pack((size,), **self.entry)
        return found

    def folded(
        self, window: OctaveWindow, limbs: int | None = None
    ) -> tuple[list[Array], list[Array]]:
        """Nodes and edges of a window for the kernel; the first limbs of their costs, or all."""
        nodes = [
            of[:limbs, rows + start].sum(axis=1)
            for of, rows, start in zip(self.nodes, window.rows, self.starts, strict=True)
        ]
        at = [
            np.searchsorted(own, rows[0]) for own, rows in zip(self.own, window.rows, strict=True)
        ]
        edges = [
            of[:limbs, at[layer][:, None], at[layer + 1]] for layer, of in enumerate(self.inner)
        ]
        if self.closed:
            places = at[-1][:, None], at[0]
            parts = [(count, *self.joins[move]) for move, count in window.joins.items()]
            edges.append(
                _total([
                    (count, packed[(slice(limbs), *places)], mask if mask is None else mask[places])
                    for count, packed, mask in parts
                ])
            )  # fmt: skip
        return nodes, edges

    def bound(self, window: OctaveWindow) -> int:
        """What no path of a window goes below, in the first limb of its cost."""
        nodes, edges = self.folded(window, 1)
        if self.closed:
            found = BackwardPass.closed(nodes, edges, np.arange(nodes[0].shape[1]))
        else:
            found = BackwardPass.open(nodes, edges, nodes[-1])
        return int(found.first.min())


def _fields(
    moves: Moves, cost: NDArray[np.int32], line: Array | None
) -> Mapping[str, NDArray[Any]]:
    """Moves by field of the order of preference."""
    names = "motion", "bass", "squares", "top", "cost", "against"
    parts = zip(names, (*moves.parts, cost, line), strict=True)
    return {name: of for name, of in parts if of is not None}


def _total(parts: Sequence[tuple[int, Array, Mask | None]]) -> Array:
    """The sum of packed costs, each so many times; what any of them forbids is forbidden."""
    total: Array = np.add.reduce([count * packed for count, packed, _ in parts])
    for _, _, forbidden in parts:
        if forbidden is not None:
            total[0][forbidden] = FORBIDDEN
    return total
