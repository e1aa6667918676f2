"""Point search: a problem as layers of points, for the kernel.

Knows problems. Voicings of one size are points whose distance is their motion; of others the kernel
gets the costs of all moves.
"""

from __future__ import annotations

from operator import getitem
from typing import Final, NamedTuple

import numpy as np

from shortway.core.cache import Memo
from shortway.core.shortest_path import points
from shortway.core.shortest_path.least_cost import NEVER
from shortway.core.shortest_path.path_graph import TooManyEdges
from shortway.core.shortest_path.point_problem import PointProblem, PointSeam, packed_layer
from shortway.core.solver.problem import PathProblem
from shortway.core.solver.search.packed_costs import refuse_states
from shortway.core.voice_leading.distance import Matrix, Moves
from shortway.core.voice_leading.near_pairs import Index
from shortway.core.voice_leading.objective import against
from shortway.core.voicings.candidate_arrays import Candidates

#: From so many transitions on, pruning is faster where a seam is wide.
MOST_WIDE: Final = 300_000_000
#: The most that a semitone of a top line may count.
MOST_A_SEMITONE: Final = NEVER // 1_024

_NOTHING: Final = np.zeros(1, np.int32)
_NOWHERE: Final = np.zeros(1, np.int64)


class _Nodes(NamedTuple):
    """A layer for the kernel, and which of the candidates its nodes are; None: all."""

    packed: bytes
    rows: Index | None


_NODES: Final[Memo[tuple[int, int, bool, bool], _Nodes]] = Memo(
    "points", 16 << 20, lambda of: len(of.packed) + (0 if of.rows is None else of.rows.nbytes) + 300
)


def point_paths(
    problem: PathProblem, alternatives: int, differs_in: int, *, wide: bool
) -> list[tuple[int, ...]] | None:
    """The best path and its alternatives; None where pruning is faster or sums may be too large.

    Raises
    ------
    TooLarge
        If so many paths so far apart take too many states.
    """
    semitone = 0 if problem.top_line == "free" else 1 + problem.most_cost()
    if semitone > MOST_A_SEMITONE or (problem.keep and semitone):
        return None
    if wide and (not points.NATIVE or problem.size().transitions > MOST_WIDE):
        return None
    count = 1
    while count <= alternatives and refuse_states(differs_in, count, raises=False):
        count += 1
    layers = _PointLayers(problem, semitone, distinct=alternatives > 0)
    try:
        found = points.best_paths(layers.problem(), count, differs_in)
    except TooManyEdges:
        return None
    if len(found) < count and (problem.keep or semitone):
        return None
    if len(found) == count <= alternatives:
        refuse_states(differs_in, count)
    return layers.original(found)


class _PointLayers:
    """A problem as layers of points; `semitone` is what each one against the top line costs."""

    def __init__(self, problem: PathProblem, semitone: int, *, distinct: bool) -> None:
        self.of, self.semitone, self.distinct = problem, semitone, distinct
        sizes = {(of.voices, of.has_bass) for of in problem.candidates}
        self.alike = len(sizes) == 1 and None not in next(iter(sizes))
        self.nodes = [self._nodes(k) for k in range(len(problem.layers))]
        line = problem.top_line
        self.up, self.down = (semitone * (line in ("hold", way)) for way in ("fall", "rise"))

    def original(self, found: list[tuple[int, ...]]) -> list[tuple[int, ...]]:
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
        problem, first = self.of, self.of.candidates[0]
        roots = [layer.chord.root_pc for layer in problem.layers]
        unheard, held, _ = problem.setting.move_prices
        usual = PointSeam(unheard, held, self.up, self.down)
        seams = [
            usual
            if self.alike and roots[a] != roots[b] and (b or not problem.begins_anew(b))
            else self._seam(a, b)
            for a, b in problem.seams
        ]
        return PointProblem(
            [of.packed for of in self.nodes],
            [len(layer.steps) for layer in problem.layers],
            seams,
            len(first.by_voice) if self.alike else 1,
            int(self.alike and first.has_bass),
            problem.closed,
            *self._entry(),
        )

    def _nodes(self, k: int) -> _Nodes:
        of, costs = self.of.candidates[k], self.of.costs[k]
        if not (of.shared and costs.shared):
            return self._made(k)
        key = of.number, costs.number, self.distinct, self.alike
        return _NODES.get(key) or _NODES.recall(key, lambda: self._made(k))

    def _made(self, k: int) -> _Nodes:
        of, costs, price = self.of.candidates[k], self.of.costs[k], self.of.weighted_prices(k)
        notes = of.by_voice if self.alike else np.zeros((1, len(of)), np.int16)
        rows = self.of.distinct_rows(k) if self.distinct else None
        if rows is None or len(rows) == len(of):
            return _Nodes(packed_layer(notes, price, costs.lacking, costs.home), None)
        arrays = notes[:, rows], price[rows], costs.lacking[rows], costs.home[rows]
        return _Nodes(packed_layer(*arrays), rows)

    def _seam(self, a: int, b: int) -> PointSeam:
        """A seam of unlike sizes or chords of one root, or where the top line starts again."""
        problem, change = self.of, self.of.change(a, b)
        up, down = (0, 0) if problem.begins_anew(b) else (self.up, self.down)
        if self.alike and change.fourth is None:
            equal = NEVER if problem.must_change(a, b) else change.unheard
            return PointSeam(equal, change.held, up, down)
        pair = problem.candidates[a], problem.candidates[b]
        costs = self._with_line(problem.move_costs(a, b), *pair, max(up, down))
        forbidden = problem.forbidden(a, b)
        if forbidden is not None:
            costs = np.where(forbidden, np.int32(NEVER), costs)
        rows = self.nodes[a].rows, self.nodes[b].rows
        return _given(costs, None if self.alike else problem.moves(a, b), rows)

    def _with_line(self, costs: Matrix, a: Candidates, b: Candidates, semitone: int) -> Matrix:
        """The costs of moves with what goes against the top line."""
        goes_against = against(a, b, self.of.top_line) if semitone else None
        if goes_against is None:
            return costs
        least: Matrix = np.minimum(costs + goes_against * semitone, NEVER).astype(np.int32)
        return least

    def _entry(self) -> tuple[bytes | None, PointSeam]:
        """The notes that sound before, and what leading from them costs."""
        before, first = self.of.before, self.of.candidates[0]
        moves = self.of.entry()
        if before is None or moves is None:
            return None, PointSeam(0, 0)
        if self.alike and before.voices == first.voices and before.has_bass == first.has_bass:
            packed = packed_layer(before.by_voice, _NOTHING, _NOTHING, _NOWHERE)
            return packed, PointSeam(0, 0, self.up, self.down)
        notes = np.zeros((len(first.by_voice) if self.alike else 1, 1), np.int16)
        costs = self._with_line(moves.motion, before, first, self.semitone)
        packed = packed_layer(notes, _NOTHING, _NOTHING, _NOWHERE)
        return packed, _given(costs, moves, (None, self.nodes[0].rows))


def _given(
    costs: Matrix, moves: Moves | None, rows: tuple[Index | None, Index | None]
) -> PointSeam:
    """A seam with the costs of all moves, and the other sums where points do not give them."""
    parts = [costs, *((None,) * 4 if moves is None else moves.parts)]
    for axis, some in enumerate(rows):
        if some is not None:
            parts = [None if of is None else of.take(some, axis) for of in parts]
    return PointSeam(
        0, 0, 0, 0, *(None if of is None else np.ascontiguousarray(of) for of in parts)
    )
