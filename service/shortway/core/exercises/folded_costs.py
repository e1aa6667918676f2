"""Folded costs: nodes and edges of a problem of several keys, folded to the layers of one.

Knows path problems and the order of preference. A move costs the same in every key: it is computed
once, between voicings of the first key, and counted as often as it is made.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from shortway.core.exercises.folded_paths import FoldedPaths
from shortway.core.exercises.key_copies import stacked_notes
from shortway.core.shortest_path.least_cost import NEVER_64
from shortway.core.solver.problem import PathProblem
from shortway.core.solver.search.weights import Weights
from shortway.core.voice_leading.distance import Matrix, Moves, moves_between
from shortway.core.voice_leading.move_costs import NO_CHANGE, ChordChange, counts_between
from shortway.core.voice_leading.objective import Array, against
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
    """Moves between two layers: figures of shape (5, from, to), and which moves are forbidden."""

    figures: Array
    forbidden: Mask | None


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
        If the costs of too many transitions would be held.
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
        self.semitone = Weights(problem, 64).semitone
        self.joins = {
            move: self._edges(last, 0, move) for window in windows for move in window.joins
        }
        self.inner = [
            _total([(count, *self._edges(layer, layer + 1, move)) for move, count in moves.items()])
            for layer, moves in enumerate(inner)
        ]
        sizes = [[len(problem.candidates[k]) for k in of] for of in self.layers]
        self.starts = [np.cumsum([0, *of[:-1]])[:, None] for of in sizes]
        self.nodes = [self._nodes(layer) for layer in layers]
        self.entry = self._entry()

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
        costs, change = moves.motion, move.change
        if change != NO_CHANGE:
            costs = costs + change.price(counts_between(a, b, change))
        return _Edges(self._figures(costs, moves, line), forbidden)

    def _figures(self, costs: Matrix, moves: Moves, line: Array | None) -> Array:
        """Weight, motion, bass motion, squares and top motion of moves; shape (5, from, to)."""
        found = np.zeros((5, *costs.shape), np.int64)
        found[0] = costs if line is None else costs + line * self.semitone
        for to, of in zip(found[1:], moves.parts, strict=True):
            if of is not None:
                to[:] = of
        return found

    def _entry(self) -> Array | None:
        """The moves from the notes that sounded to each candidate; shape (5, 1, candidates)."""
        moves, problem = self.problem.entry(), self.problem
        if moves is None or problem.before is None:
            return None
        line = against(problem.before, problem.candidates[0], problem.top_line)
        return self._figures(moves.motion, moves, line)

    def _nodes(self, layer: int) -> Array:
        """Cost, lacking colours and distance from home of a layer's candidates, key after key.

        Shape (3, candidates).
        """
        of = [(self.problem.costs[k], self.problem.layers[k]) for k in self.layers[layer]]
        parts = [(costs.price, costs.lacking, costs.home * len(to.steps)) for costs, to in of]
        return np.concatenate([np.array(part, np.int64) for part in parts], axis=1)

    def folded(self, window: OctaveWindow, figures: int | None = None) -> FoldedPaths:
        """The paths of a window, with the first figures of their costs, or all."""
        nodes = [
            of[:figures, rows + start].sum(axis=1)
            for of, rows, start in zip(self.nodes, window.rows, self.starts, strict=True)
        ]
        at = [
            np.searchsorted(own, rows[0]) for own, rows in zip(self.own, window.rows, strict=True)
        ]
        edges = [
            of[:figures, at[layer][:, None], at[layer + 1]] for layer, of in enumerate(self.inner)
        ]
        if self.closed:
            places = at[-1][:, None], at[0]
            parts = [(count, *self.joins[move]) for move, count in window.joins.items()]
            edges.append(
                _total([
                    (count, of[(slice(figures), *places)], mask if mask is None else mask[places])
                    for count, of, mask in parts
                ])
            )  # fmt: skip
        entry = None if self.entry is None else self.entry[:figures, :, window.rows[0][0]]
        return FoldedPaths(nodes, edges, entry, self.closed)

    def bound(self, window: OctaveWindow) -> int:
        """What no path of a window goes below."""
        return self.folded(window, 1).bound()


def _total(parts: Sequence[tuple[int, Array, Mask | None]]) -> Array:
    """The sum of figures, each so many times; what any of them forbids is forbidden."""
    total: Array = np.add.reduce([count * of for count, of, _ in parts])
    for _, _, forbidden in parts:
        if forbidden is not None:
            total[0][forbidden] = NEVER_64
    return total
