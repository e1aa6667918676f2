"""Native search: a problem as layers of points, for the kernel that is compiled from C.

Knows problems. Voicings of one size are points whose distance is their motion; all other problems
are solved by `search.exact` alone, which finds the same paths.
"""

from __future__ import annotations

from operator import getitem
from typing import Final, NamedTuple

import numpy as np

from shortway.core.cache import Memo
from shortway.core.shortest_path import points
from shortway.core.shortest_path.least_cost import NEVER
from shortway.core.shortest_path.points import PointProblem, PointSeam, packed_layer
from shortway.core.solver.problem import PathProblem
from shortway.core.solver.search.packed_costs import refuse_states
from shortway.core.voice_leading.near_pairs import Index
from shortway.core.voice_leading.objective import against

#: From so many transitions on, pruning is faster where a seam is wide.
MOST_WIDE: Final = 50_000_000
#: The most that a semitone of a top line may count.
MOST_A_SEMITONE: Final = NEVER // 1_024

_NOTHING: Final = np.zeros(1, np.int32)
_NOWHERE: Final = np.zeros(1, np.int64)


class _Nodes(NamedTuple):
    """A layer for the kernel, and which of the candidates its nodes are; None: all."""

    packed: bytes
    rows: Index | None


_NODES: Final[Memo[tuple[int, int, bool], _Nodes]] = Memo(
    "points", 16 << 20, lambda of: len(of.packed) + (0 if of.rows is None else of.rows.nbytes) + 300
)


def native_paths(
    problem: PathProblem, alternatives: int, differs_in: int, *, wide: bool
) -> list[tuple[int, ...]] | None:
    """The best path and its alternatives; None if that is for numpy to find.

    It is where no kernel is installed, where sizes differ, where pruning is faster, and where sums
    may be too large for the kernel.

    Raises
    ------
    TooLarge
        If so many paths so far apart take too many states.
    """
    semitone = 0 if problem.top_line == "free" else 1 + problem.most_cost()
    if not _is_native(problem, wide=wide) or semitone > MOST_A_SEMITONE:
        return None
    count = 1
    while count <= alternatives and refuse_states(differs_in, count, raises=False):
        count += 1
    nodes = [_nodes(problem, k, distinct=alternatives > 0) for k in range(len(problem.layers))]
    found = points.best_paths(_point_problem(problem, nodes, semitone), count, differs_in)
    if len(found) < count and (problem.keep or semitone):
        return None
    if len(found) == count <= alternatives:
        refuse_states(differs_in, count)
    if not alternatives:
        return found
    parts = zip(problem.candidates, nodes, strict=True)
    rows = [range(len(of)) if to.rows is None else to.rows.tolist() for of, to in parts]
    return [tuple(map(getitem, rows, path)) for path in found]


def _is_native(problem: PathProblem, *, wide: bool) -> bool:
    if not points.NATIVE or (problem.keep and problem.top_line != "free"):
        return False
    if wide and problem.size().transitions > MOST_WIDE:
        return False
    before = () if problem.before is None else (problem.before,)
    sizes = {(of.voices, of.has_bass) for of in (*before, *problem.candidates)}
    return len(sizes) == 1 and None not in next(iter(sizes))


def _nodes(problem: PathProblem, k: int, *, distinct: bool) -> _Nodes:
    of, costs = problem.candidates[k], problem.costs[k]
    if not (of.shared and costs.shared):
        return _made(problem, k, distinct=distinct)
    key = of.number, costs.number, distinct
    return _NODES.get(key) or _NODES.recall(key, lambda: _made(problem, k, distinct=distinct))


def _made(problem: PathProblem, k: int, *, distinct: bool) -> _Nodes:
    of, costs, price = problem.candidates[k], problem.costs[k], problem.weighted_prices(k)
    rows = problem.distinct_rows(k) if distinct else None
    if rows is None or len(rows) == len(of):
        return _Nodes(packed_layer(of.by_voice, price, costs.lacking, costs.home), None)
    arrays = of.by_voice[:, rows], price[rows], costs.lacking[rows], costs.home[rows]
    return _Nodes(packed_layer(*arrays), rows)


def _point_problem(problem: PathProblem, nodes: list[_Nodes], semitone: int) -> PointProblem:
    """`semitone` is what each one against the top line costs."""
    up, down = (semitone * (problem.top_line in ("hold", line)) for line in ("fall", "rise"))
    roots = [layer.chord.root_pc for layer in problem.layers]
    unheard, held, _ = problem.setting.move_prices
    usual = PointSeam(unheard, held, up, down)
    seams = [
        usual
        if roots[a] != roots[b] and (b or not problem.begins_anew(b))
        else _seam(problem, a, b, nodes, usual)
        for a, b in problem.seams
    ]
    first, before = problem.candidates[0], problem.before
    return PointProblem(
        [of.packed for of in nodes],
        [len(layer.steps) for layer in problem.layers],
        seams,
        len(first.by_voice),
        int(first.has_bass),
        problem.closed,
        None if before is None else packed_layer(before.by_voice, _NOTHING, _NOTHING, _NOWHERE),
        PointSeam(0, 0, up, down),
    )


def _seam(problem: PathProblem, a: int, b: int, nodes: list[_Nodes], usual: PointSeam) -> PointSeam:
    """A seam between chords of one root, or at which the top line starts again."""
    change, anew = problem.change(a, b), problem.begins_anew(b)
    up, down = (0, 0) if anew else (usual.up, usual.down)
    if change.fourth is None:
        equal = NEVER if problem.must_change(a, b) else change.unheard
        return PointSeam(equal, change.held, up, down)
    costs, semitone = problem.move_costs(a, b), max(up, down)
    pair = problem.candidates[a], problem.candidates[b]
    goes_against = against(*pair, problem.top_line) if semitone else None
    if goes_against is not None:
        costs = np.minimum(costs + goes_against * semitone, NEVER).astype(np.int32)
    for axis, layer in enumerate((a, b)):
        rows = nodes[layer].rows
        costs = costs if rows is None else costs.take(rows, axis)
    return PointSeam(0, 0, 0, 0, np.ascontiguousarray(costs))
