"""Packed costs: a problem as arrays of integers, and the paths that the kernel finds in them.

Knows problems, the order of preference and the kernel.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import islice, pairwise
from typing import Final, NamedTuple

import numpy as np

from shortway.core.errors import TooLarge
from shortway.core.shortest_path.k_best import (
    diversity_constraint,
    k_shortest_loops,
    k_shortest_paths,
)
from shortway.core.shortest_path.kernel import ShortestPath, shortest, shortest_loop
from shortway.core.shortest_path.through import loops_through, paths_through
from shortway.core.solver.problem import PathProblem, Seam
from shortway.core.voice_leading.distance import Matrix, Moves
from shortway.core.voice_leading.near_pairs import Index
from shortway.core.voice_leading.objective import FIELDS, Array, Packing, against, forbid, packing

#: The highest MIDI number.
_HIGHEST: Final = 127
#: Most states of the automaton that keeps alternatives apart.
MAX_STATES: Final = 4_096


def preferred_path(problem: PathProblem) -> ShortestPath | None:
    """The best path through all candidates, by the order of preference; None if none exists.

    Raises `TooLarge` as `packed_costs` does.
    """
    return (shortest_loop if problem.closed else shortest)(*packed_costs(problem))


def preferred_paths(problem: PathProblem, alternatives: int, differs_in: int) -> list[ShortestPath]:
    """The best path and its alternatives, as for `shortway.core.solver.search.exact.solve_k_best`.

    Raises
    ------
    TooLarge
        As `packed_costs` does, or if so many paths so far apart take too many states.
    """
    nodes, edges = packed_costs(problem)
    if differs_in == 1 and alternatives:
        paths = (k_shortest_loops if problem.closed else k_shortest_paths)(nodes, edges)
        return list(islice(paths, alternatives + 1))
    sizes = [len(of) for of in problem.candidates]
    weights = [len(layer.steps) for layer in problem.layers]
    kernel = shortest_loop if problem.closed else shortest
    found: list[ShortestPath] = []
    while len(found) <= alternatives:
        refuse_states(differs_in, len(found))
        earlier = [path.nodes for path in found]
        apart = diversity_constraint(sizes, earlier, weights, differs_in) if found else None
        path = kernel(nodes, edges, apart)
        if path is None:
            break
        found.append(path)
    return found


def refuse_states(differs_in: int, paths: int, *, raises: bool = True) -> bool:
    """Whether another path can be kept that far apart from so many.

    Raises
    ------
    TooLarge
        If it cannot, unless `raises` is False.
    """
    states = (differs_in + 1) ** paths
    if differs_in == 1 or states <= MAX_STATES:
        return True
    if raises:
        detail = f"keeping so many paths so far apart takes {states:,} states"
        expected = f"at most {MAX_STATES:,}: (differs_in + 1) to the power of alternatives"
        raise TooLarge.at("/alternatives", detail, expected=expected)
    return False


def fewest_changes(
    problem: PathProblem, rows: Sequence[Index], paths: Sequence[Sequence[int]], differs_in: int
) -> int:
    """The fewest changes of kept notes with which a path through `rows` differs from `paths`.

    `rows` are the candidates of each layer, ascending, of shape (chosen,); `paths` have an index of
    each. A lower bound where moves are forbidden. Candidates that change alike, and of which
    `paths` take none, are one node.
    """
    nodes, kinds = [], []
    for k, (costs, own) in enumerate(zip(problem.costs, rows, strict=True)):
        changed = np.zeros(len(own)) if costs.changed is None else costs.changed[own]
        marks = np.array([changed, *(own == path[k] for path in paths)], np.int64)
        found, kind = np.unique(marks, axis=1, return_inverse=True)
        nodes.append(found[:1])
        kinds.append(kind.ravel())
    sizes = [of.shape[1] for of in nodes]
    earlier = [
        [int(kinds[k][np.searchsorted(rows[k], at)]) for k, at in enumerate(path)] for path in paths
    ]
    weights = [len(layer.steps) for layer in problem.layers]
    apart = diversity_constraint(sizes, earlier, weights, differs_in) if paths else None
    path = shortest(nodes, [np.zeros((1, a, b), np.int64) for a, b in pairwise(sizes)], apart)
    return 0 if path is None else path.cost[0]


class Through(NamedTuple):
    """A candidate, and the best path through it in figures."""

    candidate: int
    weighted: int
    cost: int
    motion: int


def best_paths_through(problem: PathProblem, layer: int, limit: int) -> list[Through]:
    """The first `limit` candidates of a layer by cost, then motion, of the best paths through them.

    Raises `TooLarge` as `packed_costs` does.
    """
    places, nodes, edges = _packed(problem, FIELDS[: FIELDS.index("motion") + 1])
    through = (loops_through if problem.closed else paths_through)(nodes, edges, layer, limit)
    found = []
    for packed, index in through:
        changed, cost, motion = (places.unpack(of, packed) for of in ("changed", "cost", "motion"))
        found.append(Through(index, changed * problem.change_weight + cost, cost, motion))
    return found


def packed_costs(problem: PathProblem) -> tuple[list[Array], list[Array]]:
    """The costs of nodes and edges, packed by the order of preference.

    Returns
    -------
    nodes : list of int64, each of shape (limbs, candidates)
    edges : list of int64, each of shape (limbs, candidates, candidates of the next layer)

    Raises
    ------
    TooLarge
        If the costs of too many transitions would be held.
    """
    return _packed(problem, FIELDS)[1:]


def _packed(
    problem: PathProblem, fields: Sequence[str]
) -> tuple[Packing, list[Array], list[Array]]:
    problem.refuse_too_large()
    entry, costs = problem.entry(), {seam: problem.move_costs(*seam) for seam in problem.seams}
    places = packing(_largest_sums(problem, entry, costs), fields)
    nodes = [
        places.pack(
            of.price.shape,
            changed=of.changed,
            cost=of.price,
            lacking=of.lacking,
            home=of.home * len(to.steps),
        )
        for of, to in zip(problem.costs, problem.layers, strict=True)
    ]
    if entry is not None and problem.before is not None:
        goes_against = against(problem.before, problem.candidates[0], problem.top_line)
        nodes[0] = nodes[0] + _packed_moves(places, entry, entry.motion, goes_against)[:, 0]
    return places, nodes, _edges(problem, places, costs)


def _largest_sums(
    problem: PathProblem, entry: Moves | None, costs: Mapping[Seam, Matrix]
) -> dict[str, int]:
    """What no path exceeds, by field of the order of preference."""
    moved = [problem.moves(*seam) for seam in problem.seams] + ([entry] if entry else [])
    motion, bass, squares, top = (
        map(sum, zip(*(moves.most for moves in moved), strict=True)) if moved else (0,) * 4
    )
    steps = [len(layer.steps) for layer in problem.layers]
    most: Counter[str] = Counter()
    for of, count in zip(problem.costs, steps, strict=True):
        own = of.most()
        most.update(own | {"home": own["home"] * count})
    moving = sum(int(of.max(initial=0)) for of in costs.values())
    return {
        "changed": most["changed"],
        "against": 0 if problem.top_line == "free" else _HIGHEST * (len(steps) + 1),
        "cost": moving + most["cost"] + (entry.most[0] if entry else 0),
        "motion": motion,
        "lacking": most["lacking"],
        "bass": bass,
        "squares": squares,
        "top": top,
        "home": most["home"],
    }


def _packed_moves(places: Packing, moves: Moves, cost: Matrix, goes_against: Array | None) -> Array:
    """Shape (limbs, from, to)."""
    parts = dict(zip(("motion", "bass", "squares", "top"), moves.parts, strict=True))
    return places.pack(cost.shape, against=goes_against, cost=cost, **parts)


def _edges(problem: PathProblem, places: Packing, costs: Mapping[Seam, Matrix]) -> list[Array]:
    """The packed costs of every seam; seams between the same candidates share one array."""
    packed: dict[tuple[int, int, bool], Array] = {}
    edges = []
    for (a, b), cost in costs.items():
        moves, anew = problem.moves(a, b), problem.begins_anew(b)
        key = id(moves), id(cost), anew
        if key not in packed:
            pair = problem.candidates[a], problem.candidates[b]
            goes_against = None if anew else against(*pair, problem.top_line)
            packed[key] = _packed_moves(places, moves, cost, goes_against)
        forbidden = problem.forbidden(a, b)
        edges.append(packed[key] if forbidden is None else forbid(packed[key], forbidden))
    return edges
