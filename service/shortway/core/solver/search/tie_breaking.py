"""Tie-breaking: of the paths of least cost, the first by the order of preference.

Knows problems. Where all of them pass through one candidate it is settled; the layers between are
compared by ranks. A rank packs the sums of the order of preference after cost into one integer of
unlimited size, `BITS` bits a field, so that ranks add and compare as a whole; equal ranks fall to
the lowest indices.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from shortway.core.shortest_path.least_cost import TiedPaths
from shortway.core.solver.problem import PathProblem
from shortway.core.voice_leading.distance import Moves

#: Bits of a field: the largest sum is 4,096 steps of ten squared moves over the whole keyboard.
BITS: Final = 32

#: Where each field begins; the distance from home begins at 0.
_TOP, _SQUARES, _BASS, _LACKING, _MOTION = (BITS * place for place in range(1, 6))


def best_path(problem: PathProblem, tied: TiedPaths) -> tuple[int, ...]:
    """The best of the `tied` paths, as indices; in a loop the first comes last again."""
    chosen = [of[0] for of in tied.nodes]
    end = len(chosen) - 1
    while end >= 0:
        begin = end
        if len(tied.nodes[end]) > 1:
            while begin and len(tied.nodes[begin - 1]) > 1:
                begin -= 1
            _settle(problem, tied, max(0, begin - 1), min(end + 1, len(chosen) - 1), chosen)
        end = begin - 1
    return tuple(chosen)


def _settle(problem: PathProblem, tied: TiedPaths, begin: int, end: int, chosen: list[int]) -> None:
    """Choose a candidate of each layer from `begin` to `end`."""
    seams = problem.seams
    ahead = _node_ranks(problem, end % len(problem.layers), tied.nodes[end])
    onward: list[dict[int, int]] = []
    for k in range(end - 1, begin - 1, -1):
        own = _node_ranks(problem, k, tied.nodes[k])
        moves = _move_ranks(problem, seams[k], tied.edges[k])
        best = {i: min([(rank + ahead[j], j) for rank, j in of]) for i, of in moves.items()}
        onward.append({i: j for i, (_, j) in best.items()})
        ahead = {i: own[i] + rank for i, (rank, _) in best.items()}
    if begin == 0:
        ahead = {i: rank + _entry_rank(problem, i) for i, rank in ahead.items()}
    chosen[begin] = min(ahead, key=lambda i: (ahead[i], i))
    for k in range(begin, end):
        chosen[k + 1] = onward.pop()[chosen[k]]


def loop_rank(problem: PathProblem, path: Sequence[int]) -> int:
    """The rank of a whole loop; `path` has an index for each layer."""
    rank = _entry_rank(problem, path[0])
    for k, i in enumerate(path):
        rank += _node_ranks(problem, k, [i])[i]
    for a, b in problem.seams:
        rank += _move_ranks(problem, (a, b), {path[a]: [path[b]]})[path[a]][0][0]
    return rank


def _node_ranks(problem: PathProblem, k: int, rows: Sequence[int]) -> dict[int, int]:
    of, steps = problem.costs[k], len(problem.layers[k].steps)
    return {i: of.lacking.item(i) << _LACKING | of.home.item(i) * steps for i in rows}


def _entry_rank(problem: PathProblem, i: int) -> int:
    entry = problem.entry()
    return 0 if entry is None else _packed(*_parts(entry, 0, i))


def _move_ranks(
    problem: PathProblem, seam: tuple[int, int], moves: Mapping[int, Sequence[int]]
) -> dict[int, list[tuple[int, int]]]:
    """The ranks of some moves over `seam`, from each candidate the rank and where it goes."""
    a, b = problem.candidates[seam[0]], problem.candidates[seam[1]]
    if a.voices is None or a.voices != b.voices:
        of = problem.moves(*seam)
        return {i: [(_packed(*_parts(of, i, j)), j) for j in after] for i, after in moves.items()}
    new = {j: b.notes[j].tolist() for j in set().union(*moves.values())}
    found = {}
    for i, after in moves.items():
        old = a.notes[i].tolist()
        found[i] = [(_rank(old, new[j], a.has_bass), j) for j in after]
    return found


def _rank(old: Sequence[int], new: Sequence[int], has_bass: bool) -> int:
    apart = [abs(x - y) for x, y in zip(old, new, strict=True)]
    bass = apart.pop(0) if has_bass else 0
    return _packed(sum(apart), bass, sum([d * d for d in apart]), apart[-1])


def _packed(motion: int, bass: int, squares: int, top: int) -> int:
    return motion << _MOTION | bass << _BASS | squares << _SQUARES | top << _TOP


def _parts(moves: Moves, i: int, j: int) -> list[int]:
    return [0 if of is None else of.item(i, j) for of in moves.parts]
