"""Native search: a problem as layers of points, for the kernel that is compiled from C.

Knows problems. Voicings of one size are points whose distance is their motion; all other problems
are solved by `search.exact` alone, which finds the same paths.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from shortway.core.shortest_path import points
from shortway.core.shortest_path.least_cost import NEVER
from shortway.core.shortest_path.points import PointLayer, PointSeam
from shortway.core.solver.problem import PathProblem
from shortway.core.voicings.candidate_arrays import Candidates

_NOTHING = np.zeros(1, np.int32)
_NOWHERE = np.zeros(1, np.int64)


#: From so many transitions on, pruning is faster where a seam is wide.
MOST_WIDE: Final = 50_000_000


def is_native(problem: PathProblem, *, wide: bool) -> bool:
    """Whether the kernel is installed, can solve the problem and is the fastest to do so."""
    if not points.NATIVE or (problem.closed and problem.before is not None):
        return False
    if wide and problem.size().transitions > MOST_WIDE:
        return False
    before: list[Candidates] = [] if problem.before is None else [problem.before]
    sizes = {(of.voices, of.has_bass) for of in (*before, *problem.candidates)}
    return len(sizes) == 1 and None not in next(iter(sizes))


def native_path(problem: PathProblem) -> tuple[int, ...] | None:
    """The best path by the order of preference; None if there is none, or none below `NEVER`."""
    parts = zip(problem.candidates, problem.costs, problem.layers, strict=True)
    layers = [
        PointLayer(
            of.by_voice, problem.weighted_prices(k), costs.lacking, costs.home, len(to.steps)
        )
        for k, (of, costs, to) in enumerate(parts)
    ]
    roots = [layer.chord.root_pc for layer in problem.layers]
    unheard, held, _ = problem.setting.move_prices
    usual = PointSeam(unheard, held)
    seams = [usual if roots[a] != roots[b] else _seam(problem, a, b) for a, b in problem.seams]
    if problem.before is not None:
        layers.insert(0, PointLayer(problem.before.by_voice, _NOTHING, _NOTHING, _NOWHERE, 0))
        seams.insert(0, PointSeam(0, 0))
    found = points.best_path(
        layers, seams, int(problem.candidates[0].has_bass), closed=problem.closed
    )
    return None if found is None else tuple(found[len(layers) - len(problem.layers) :])


def _seam(problem: PathProblem, a: int, b: int) -> PointSeam:
    change = problem.change(a, b)
    if change.fourth is not None:
        return PointSeam(0, 0, problem.move_costs(a, b))
    return PointSeam(NEVER if problem.must_change(a, b) else change.unheard, change.held)
