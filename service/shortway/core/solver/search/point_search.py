"""Point search: a problem as layers of points, for the kernel.

Knows problems. Voicings of one size are points whose distance is their motion; of others the kernel
gets the costs of all moves.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from itertools import repeat
from operator import getitem
from typing import Final, NamedTuple

import numpy as np

from shortway.core.cache import Memo
from shortway.core.errors import TooLarge
from shortway.core.shortest_path import points
from shortway.core.shortest_path.point_problem import (
    Integers,
    PointProblem,
    PointSeam,
    packed_layer,
)
from shortway.core.solver.problem import PathProblem
from shortway.core.solver.search.weights import BITS, Weights
from shortway.core.voice_leading.distance import Moves
from shortway.core.voice_leading.near_pairs import Index

#: Most states of prefixes that keep alternatives apart.
MAX_STATES: Final = 4_096

#: Candidates of a path, one for each layer.
Indices = tuple[int, ...]

_NOTHING: Final = np.zeros(1, np.int32)
_NOWHERE: Final = np.zeros(1, np.int64)


class _Nodes(NamedTuple):
    """A layer for the kernel, and which of the candidates its nodes are; None: all."""

    packed: bytes
    rows: Index | None


#: By the number of priced candidates, and what of them is packed.
_NODES: Final[Memo[tuple[int, bool, bool, int], _Nodes]] = Memo(
    "points", 10 << 20, lambda of: len(of.packed) + (0 if of.rows is None else of.rows.nbytes) + 300
)


def point_paths(
    problem: PathProblem, alternatives: int, differs_in: int, bits: Sequence[int] = BITS
) -> list[Indices] | None:
    """The best path and its alternatives; None where weights of so many `bits` may not suffice.

    Raises
    ------
    TooLarge
        If so many paths so far apart take too many states.
    """
    count = 1
    while count <= alternatives and (differs_in == 1 or (differs_in + 1) ** count <= MAX_STATES):
        count += 1
    for of in bits:
        weights = Weights(problem, of)
        if weights.semitone > weights.never // 1_024:
            continue
        layers = _PointLayers(weights, distinct=alternatives > 0)
        found = points.best_paths(layers.problem(), count, differs_in)
        if len(found) < count and of == BITS[0] and (problem.keep or weights.semitone):
            continue
        if len(found) == count <= alternatives:
            _refuse_states(differs_in, count)
        return layers.original(found)
    return None


def _refuse_states(differs_in: int, paths: int) -> None:
    detail = f"keeping so many paths so far apart takes {(differs_in + 1) ** paths:,} states"
    expected = f"at most {MAX_STATES:,}: (differs_in + 1) to the power of alternatives"
    raise TooLarge.at("/alternatives", detail, expected=expected)


class _PointLayers:
    """A problem as layers of points; with `distinct` one node for each set of notes."""

    def __init__(self, weights: Weights, *, distinct: bool) -> None:
        problem = self.of = weights.problem
        self.weights, self.distinct = weights, distinct
        sizes = {of.voices for of in problem.priced}
        alike = self.alike = len(sizes) == 1 and None not in sizes
        self.numbers = [0 if problem.keep else of.number for of in problem.priced]
        keys = zip(
            self.numbers, repeat(distinct), repeat(alike), repeat(weights.bits), strict=False
        )
        self.nodes = _NODES.each(keys, self._nodes)
        line = problem.top_line
        self.up, self.down = (
            weights.semitone * (line in ("hold", way)) for way in ("fall", "rise")
        )

    def original(self, found: list[Indices]) -> list[Indices]:
        """Paths through nodes as paths through candidates."""
        if not self.distinct:
            return found
        rows = [
            range(len(of)) if to.rows is None else to.rows.tolist()
            for of, to in zip(self.of.candidates, self.nodes, strict=True)
        ]
        return [tuple(map(getitem, rows, path)) for path in found]

    def problem(self) -> PointProblem:
        """What the kernel searches."""
        problem, first = self.of, self.of.priced[0].candidates
        return PointProblem(
            [of.packed for of in self.nodes],
            [len(layer.steps) for layer in problem.layers],
            self._seams(),
            len(first.by_voice) if self.alike else 1,
            int(self.alike and first.has_bass),
            problem.closed,
            *self._entry(),
            self.weights.bits,
        )

    def _nodes(self, k: int) -> _Nodes:
        number, make = self.numbers[k], partial(self._made, k)
        key = number, self.distinct, self.alike, self.weights.bits
        return _NODES.recall(key, make) if number else make()

    def _made(self, k: int) -> _Nodes:
        of, costs, price = self.of.candidates[k], self.of.costs[k], self.weights.prices(k)
        notes = of.by_voice if self.alike else np.zeros((1, len(of)), np.int16)
        rows = self.of.distinct_rows(k) if self.distinct else None
        if rows is None or len(rows) == len(of):
            return _Nodes(packed_layer(notes, price, costs.lacking, costs.home), None)
        arrays = notes[:, rows], price[rows], costs.lacking[rows], costs.home[rows]
        return _Nodes(packed_layer(*arrays), rows)

    def _seams(self) -> list[PointSeam]:
        """Between chords of two roots all seams are alike, unless the top line starts again."""
        problem, alike, prices = self.of, self.alike, self.of.change_prices
        usual = PointSeam(prices.unheard, prices.held, self.up, self.down)
        roots = [layer.chord.root_pc for layer in problem.layers]
        after = roots[1:] + roots[: problem.closed]
        seams = [usual] * len(after)
        for a, (old, new) in enumerate(zip(roots, after, strict=False)):
            if old == new or not alike or (a == len(after) - 1 and problem.begins_anew(0)):
                seams[a] = self._seam(a, (a + 1) % len(roots))
        return seams

    def _seam(self, a: int, b: int) -> PointSeam:
        """A seam of unlike sizes or chords of one root, or where the top line starts again."""
        problem, change = self.of, self.of.change(a, b)
        anew = (self.up or self.down) and problem.begins_anew(b)
        up, down = (0, 0) if anew else (self.up, self.down)
        if self.alike and change.fourth is None:
            equal = self.weights.never if problem.must_change(a, b) else change.unheard
            return PointSeam(equal, change.held, up, down)
        rows = self.nodes[a].rows, self.nodes[b].rows
        return _given(self.weights.moves(a, b), None if self.alike else problem.moves(a, b), rows)

    def _entry(self) -> tuple[bytes | None, PointSeam]:
        """The notes that sound before, and what leading from them costs."""
        before, first = self.of.before, self.of.priced[0].candidates
        moves = self.of.entry()
        if before is None or moves is None:
            return None, PointSeam(0, 0)
        if self.alike and before.voices == first.voices and before.has_bass == first.has_bass:
            packed = packed_layer(before.by_voice, _NOTHING, _NOTHING, _NOWHERE)
            return packed, PointSeam(0, 0, self.up, self.down)
        notes = np.zeros((len(first.by_voice) if self.alike else 1, 1), np.int16)
        packed = packed_layer(notes, _NOTHING, _NOTHING, _NOWHERE)
        return packed, _given(self.weights.into(moves), moves, (None, self.nodes[0].rows))


def _given(
    costs: Integers, moves: Moves | None, rows: tuple[Index | None, Index | None]
) -> PointSeam:
    """A seam with the costs of all moves, and the other sums where points do not give them."""
    parts = [costs, *((None,) * 4 if moves is None else moves.parts)]
    for axis, some in enumerate(rows):
        if some is not None:
            parts = [None if of is None else of.take(some, axis) for of in parts]
    return PointSeam(
        0, 0, 0, 0, *(None if of is None else np.ascontiguousarray(of) for of in parts)
    )
