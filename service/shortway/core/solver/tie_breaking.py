"""Tie-breaking: of the paths through a few candidates, the first by the order of preference.

Knows problems. Pruning leaves one or two candidates a layer, for which plain integers are faster
than arrays.
A rank packs the sums of the order of preference into one integer of unlimited size, `BITS` bits a
field, so that ranks add and compare as a whole; equal ranks fall to the lowest indices.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from shortway.core.solver.problem import PathProblem
from shortway.core.voice_leading.distance import Matrix, Moves
from shortway.core.voice_leading.near_pairs import NEVER, Index

#: Bits of a field: the largest sum is 4,096 steps of ten squared moves over the whole keyboard.
BITS: Final = 32

Ranked = tuple[int, tuple[int, ...]]
Edges = Mapping[int, Sequence[tuple[int, int]]]


def best_path(
    problem: PathProblem, rows: Sequence[Index], costs: Sequence[Matrix]
) -> tuple[int, ...] | None:
    """The best path through the candidates `rows` of each layer, as indices; None if none exists.

    Parameters
    ----------
    rows : sequence of intp arrays, each of shape (rows,)
    costs : sequence of arrays of shape (candidates, candidates of the next layer)
        Motion and prices of every move, `NEVER` where it is forbidden; in a loop the last leads
        to the first layer.
    """
    kept = [of.tolist() for of in rows]
    nodes = [_node_ranks(problem, k, of) for k, of in enumerate(kept)]
    edges = [
        _edges(problem, seam, kept[seam[0]], kept[seam[1]], of)
        for seam, of in zip(problem.seams, costs, strict=True)
    ]
    entry = problem.entry()
    starts = dict(nodes[0])
    if entry is not None:
        for k in starts:
            starts[k] += _move_rank(entry, 0, k, int(entry.motion[0, k]))
    if not problem.closed:
        best = _from({k: (rank, (k,)) for k, rank in starts.items()}, nodes, edges)
        return min(best.values())[1] if best else None
    loops = []
    for start, first in starts.items():
        for last, (rank, path) in _from({start: (first, (start,))}, nodes, edges[:-1]).items():
            loops += [(rank + back, path) for end, back in edges[-1][last] if end == start]
    return min(loops)[1] if loops else None


def _from(
    states: dict[int, Ranked], nodes: Sequence[Mapping[int, int]], edges: Sequence[Edges]
) -> dict[int, Ranked]:
    """The best path to each candidate of the last layer, from the first layer's `states`."""
    for own, following in zip(nodes[1:], edges, strict=True):
        ahead: dict[int, Ranked] = {}
        for k, (rank, path) in states.items():
            for after, move in following[k]:
                found = rank + move + own[after], (*path, after)
                if after not in ahead or found < ahead[after]:
                    ahead[after] = found
        states = ahead
    return states


def _rank(
    cost: int, motion: int, lacking: int, bass: int, squares: int, top: int, home: int
) -> int:
    packed = cost
    for value in (motion, lacking, bass, squares, top, home):
        packed = packed << BITS | value
    return packed


def _node_ranks(problem: PathProblem, k: int, kept: Sequence[int]) -> dict[int, int]:
    if len(kept) == 1:  # every path goes through it
        return {kept[0]: 0}
    of, steps, prices = problem.costs[k], len(problem.layers[k].steps), problem.weighted_prices(k)
    return {
        i: _rank(int(prices[i]), 0, int(of.lacking[i]), 0, 0, 0, int(of.home[i]) * steps)
        for i in kept
    }


def _edges(
    problem: PathProblem,
    seam: tuple[int, int],
    kept: Sequence[int],
    after: Sequence[int],
    costs: Matrix,
) -> dict[int, list[tuple[int, int]]]:
    """From each of `kept` the moves to those of `after`, with their ranks."""
    if len(kept) == len(after) == 1:  # every path makes this move, unless it is forbidden
        return {kept[0]: [(after[0], 0)] if costs[kept[0], after[0]] < NEVER else []}
    a, b = (problem.candidates[k] for k in seam)
    rank: Callable[[int, int, int], int]
    if a.voices is not None and a.voices == b.voices:
        old, new = ({k: of.midi(k) for k in rows} for of, rows in ((a, kept), (b, after)))
        has_bass = a.has_bass

        def rank(i: int, j: int, cost: int) -> int:
            apart = [abs(x - y) for x, y in zip(old[i], new[j], strict=True)]
            bass = apart.pop(0) if has_bass else 0
            return _rank(cost, sum(apart), 0, bass, sum([d * d for d in apart]), apart[-1], 0)

    else:
        moves = problem.moves(*seam)

        def rank(i: int, j: int, cost: int) -> int:
            return _move_rank(moves, i, j, cost)

    return {
        i: [(j, rank(i, j, int(costs[i, j]))) for j in after if costs[i, j] < NEVER] for i in kept
    }


def _move_rank(moves: Moves, i: int, j: int, cost: int) -> int:
    motion, bass, squares, top = (0 if of is None else int(of[i, j]) for of in moves.parts)
    return _rank(cost, motion, 0, bass, squares, top, 0)
