"""The best paths through layers of points by numpy, as the compiled kernel finds them.

Knows no music. The least cost from every node to the end gives the edges of all paths of least
cost; in their graph the best is found by rank. Where a path has to differ from those found so far,
nodes are told apart by what the prefix to them has in common with those.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from shortway.core.shortest_path.codes import Codes, Path
from shortway.core.shortest_path.edge_costs import EdgeCosts
from shortway.core.shortest_path.path_graph import PathGraph
from shortway.core.shortest_path.point_problem import Integers, PointProblem

#: Cost, rank and nodes of a path.
Ranked = tuple[int, int, Path]


def numpy_paths(problem: PointProblem, count: int, differs: int) -> list[Path]:
    """As of `points.best_paths`."""
    dense, found = EdgeCosts(problem), list[Path]()
    sizes = [of.nodes for of in dense.layers[: len(problem.layers)]]
    while len(found) < count:
        codes = Codes(found, problem.weights, sizes, differs) if found else None
        best = _best_loop(dense, codes) if problem.closed else _best_open(dense, codes)
        if best is None:
            break
        found.append(best[2])
    return found


def _best_open(dense: EdgeCosts, codes: Codes | None) -> Ranked | None:
    starts = range(dense.layers[0].nodes)
    return _best(dense, codes, dense.layers[-1].cost, starts, dense.never - 1)


def _best_loop(dense: EdgeCosts, codes: Codes | None) -> Ranked | None:
    """The loop through each first node in turn, until the bounds of the others exceed the best."""
    best: Ranked | None = None
    most = dense.never - 1
    free = np.zeros_like(dense.into)
    bounds = np.maximum(dense.into + _costs_to_go(dense, codes, free)[1][0][0], dense.round())
    for start in np.argsort(bounds, kind="stable").tolist():
        if bounds[start] > most:
            break
        ends = np.full_like(free, dense.never)
        ends[start] = 0
        found = _best(dense, codes, ends, [start], most)
        if found is not None and (best is None or found < best):
            best, most = found, found[0]
    return best


def _best(
    dense: EdgeCosts, codes: Codes | None, ends: Integers, starts: Sequence[int], most: int
) -> Ranked | None:
    """The best path of at most `most` from one of `starts`, where its last node costs `ends`."""
    to_go, before = _costs_to_go(dense, codes, ends)
    costs = (dense.into + before[0][0])[starts]
    least = int(costs.min())
    if least > most:
        return None
    nodes = [starts[i] for i in (costs == least).nonzero()[0].tolist()]
    if codes is None:
        return least, *PathGraph(dense, dense.tied(nodes, to_go)).best_of_all(nodes)
    at = np.array(nodes)
    states = codes.states(0, np.zeros_like(at), at)
    graph = PathGraph(dense, dense.coded_ties(states, to_go, before, codes), codes.count)
    return least, *graph.best_of_all(states.tolist())


def _costs_to_go(
    dense: EdgeCosts, codes: Codes | None, ends: Integers
) -> tuple[list[Integers], list[Integers]]:
    """Least cost to the end as of `coded_costs_to_go`; without codes the second is of one level."""
    to_go = dense.costs_to_go(ends)
    return (to_go, [to_go[0][None]]) if codes is None else dense.coded_costs_to_go(to_go, codes)
