"""The best paths through layers of points by numpy, as the compiled kernel finds them.

Knows no music. Least costs from every node to the end and from the beginning bound every path
through an edge, so all paths of at most a cost are in a small graph; there, those that differ
enough from the paths found so far are compared by rank. If there is none, the cost is raised.
"""

from __future__ import annotations

import numpy as np

from shortway.core.shortest_path.edge_costs import EdgeCosts
from shortway.core.shortest_path.least_cost import NEVER
from shortway.core.shortest_path.path_graph import Found, Path, PathGraph
from shortway.core.shortest_path.point_problem import Integers, PointProblem


def numpy_paths(problem: PointProblem, count: int, differs: int) -> list[Path]:
    """As of `points.best_paths`.

    Raises
    ------
    TooManyEdges
        If more edges than `path_graph.MOST_EDGES` would be compared, or too many prefixes.
    """
    dense = EdgeCosts(problem)
    bounds = dense.into + dense.to_go[0]
    if problem.closed:
        np.maximum(bounds, dense.so_far[-1], out=bounds)
    if count == 1:
        return (_best_loop if problem.closed else _best_open)(dense, bounds)
    return _alternatives(dense, bounds, count, differs)


def _best_open(dense: EdgeCosts, bounds: Integers) -> list[Path]:
    most = int(bounds.min())
    if most >= NEVER:
        return []
    starts = (bounds == most).nonzero()[0].tolist()
    return [PathGraph(dense, dense.tied(starts, dense.to_go)).best_of_all(starts)[1]]


def _best_loop(dense: EdgeCosts, bounds: Integers) -> list[Path]:
    """The loop through each first node in turn, until the bounds of the others exceed the best."""
    found: list[tuple[int, int, Path]] = []
    for start in np.argsort(bounds, kind="stable").tolist():
        most = min(found)[0] if found else NEVER - 1
        if bounds[start] > most:
            break
        end = np.full(len(bounds), NEVER, np.int32)
        end[start] = 0
        to_go = dense.costs_to_go(end)
        cost = dense.into.item(start) + to_go[0].item(start)
        if cost <= most:
            graph = PathGraph(dense, dense.tied([start], to_go))
            found.append((cost, *graph.best_of_all([start])))
    return [min(found)[2]] if found else []


def _alternatives(dense: EdgeCosts, bounds: Integers, count: int, differs: int) -> list[Path]:
    most, more = int(bounds.min()), 2
    found = Found(dense.problem.weights, differs)
    while most < NEVER:
        graph = PathGraph(dense, dense.within(most, bounds))
        starts = (bounds <= most).nonzero()[0].tolist()
        while (best := _best(graph, found, starts, most)) is not None:
            found.paths.append(best)
            more = 2
            if len(found.paths) == count:
                return found.paths
        if most == NEVER - 1:
            break
        above = dense.least_above(most, bounds)
        most, more = min(max(most + more, above), NEVER - 1), 2 * more
    return found.paths


def _best(graph: PathGraph, found: Found, starts: list[int], most: int) -> Path | None:
    """The best path of at most `most` that differs enough from those found."""
    if not graph.closed:
        of = graph.best(found, starts, most, graph.dense.ends)
        return None if of is None else of[2]
    best: tuple[int, int, Path] | None = None
    for start in starts:
        of = graph.best(found, [start], most, {start: 0})
        if of is not None and (best is None or of[:2] < best[:2]):
            best, most = of, of[0]
    return None if best is None else best[2]
