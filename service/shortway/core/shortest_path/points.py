"""The best paths through layers of points, open or as loops.

Knows no music: integer arrays in, indices out. The kernel that is compiled from C is an optional
part of an installation; `points_numpy` finds the same paths without it.
"""

from __future__ import annotations

from shortway.core.cancellation import checkpoint
from shortway.core.shortest_path.point_problem import PointProblem
from shortway.core.shortest_path.points_numpy import numpy_paths

try:
    from shortway.core.shortest_path import _points
except ImportError:  # installed without a C compiler
    NATIVE = False
else:
    NATIVE = True


def implementation() -> str:
    """What finds the best paths: ``compiled`` or ``numpy``."""
    return "compiled" if NATIVE else "numpy"


def best_paths(problem: PointProblem, count: int = 1, differs: int = 1) -> list[tuple[int, ...]]:
    """The best path and its alternatives, as the index of a node for each layer.

    Each is the best of those that differ from all before it in layers of a weight of `differs`;
    there are fewer where no more exist.

    Raises
    ------
    ValueError
        If the arrays do not fit each other, or a number is out of range.
    """
    if not NATIVE or problem.bits > 32:
        return numpy_paths(problem, count, differs)
    of = problem
    options = of.coordinates, of.apart, of.closed, count, differs, checkpoint
    return _points.best_paths(of.layers, of.weights, of.seams, of.before, of.entry, *options)
