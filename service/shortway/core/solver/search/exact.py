"""Exact: the best path of a problem and its alternatives, however wide it is.

Knows problems and pruning. Where a problem is too wide for the compiled kernel, or that is not
there, pruning first drops the candidates that are provably on no path that is requested; the few
that are left are then compared by the whole order of preference.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from shortway.core.errors import Fault, NoVoicing
from shortway.core.shortest_path import points
from shortway.core.shortest_path.least_cost import NEVER
from shortway.core.solver.problem import PathProblem, refuse_too_large
from shortway.core.solver.report import Solution
from shortway.core.solver.results import Choice
from shortway.core.solver.search.point_search import Indices, point_paths
from shortway.core.solver.search.ranked import RankedPaths, best_through, original_indices
from shortway.core.solver.search.weights import BITS
from shortway.core.voice_leading.near_pairs import Index
from shortway.core.voice_leading.pruning import prune, survivors

#: Most different transitions of one request whose near pairs are listed.
MAX_NEAR: Final = 2_000_000_000
#: Where no seam has more transitions, nothing is pruned.
WIDE: Final = 250_000
#: From so many transitions on, pruning is faster than the compiled kernel; a loop takes passes
#: over fewer candidates, too.
MOST_COMPILED: Final = 1_200_000_000
LOOP_PASSES: Final = 4
#: A pruned loop of more transitions is cut into smaller ones.
FEW: Final = 3_000_000


def solve_k_best(
    problem: PathProblem, alternatives: int = 0, differs_in: int = 1
) -> list[Solution]:
    """The best path of a request and its alternatives.

    Each alternative is the best path, by the order of preference, of those that differ from the
    best and from every earlier alternative in the notes of at least `differs_in` steps; with 1 they
    are the next best paths. There are fewer where no more exist.

    Raises
    ------
    TooLarge
        If it is too large to be solved exactly; before the memory is taken.
    NoVoicing
        If repeated chords must change and there is nothing to change to.
    """
    if not problem.layers:
        return [Solution(problem, ())]
    found = _paths(problem, alternatives, differs_in)
    if not found:
        detail = "a chord that is repeated has no other voicing to change to"
        expected = 'more families, a wider range, or "repeats": "hold"'
        raise NoVoicing(detail, Fault("/setting/repeats", detail, expected=expected))
    return [Solution(problem, indices) for indices in found]


def least_motion(problem: PathProblem) -> int:
    """The least motion of all paths over the same candidates, solved without prices.

    Raises `TooLarge` and `NoVoicing` as `solve_k_best` does.
    """
    free = problem.repriced(replace(problem.setting, pricing="none"))
    return solve_k_best(free)[0].motion


def choices(problem: PathProblem, best: Solution, step: int, limit: int) -> tuple[Choice, ...]:
    """The candidates of a step, each with the best path through it: first the one of the best path.

    At most `limit`; none for an N.C. Raises `TooLarge` as `solve_k_best` does.
    """
    at = best.layer_of.get(step)
    if at is None:
        return ()
    if _is_wide(problem):
        found = RankedPaths(problem, 0, 1).choices(best.indices, at, limit)
    else:
        found = best_through(problem, at, limit)
    first = found[0]._replace(candidate=best.indices[at])
    found = [first, *(of for of in found if of.candidate != first.candidate)][:limit]
    of, chord = problem.candidates[at], problem.layers[at].chord
    return tuple(Choice(of.voicing(k, chord), cost, motion) for k, _, cost, motion in found)


def _paths(problem: PathProblem, alternatives: int, differs_in: int) -> list[Indices]:
    """The requested paths, the best first."""
    wide = _is_wide(problem)
    if not wide:
        problem.refuse_too_large()
        return point_paths(problem, alternatives, differs_in) or []
    refuse_too_large(problem.different(), MAX_NEAR)
    passes = LOOP_PASSES if problem.closed else 1
    if points.NATIVE and passes * problem.size().transitions <= MOST_COMPILED:
        found = point_paths(problem, alternatives, differs_in, BITS[:1])
        if found is not None:
            return found
    return _Pruned(problem, alternatives, differs_in).paths()


class _Pruned(RankedPaths):
    """The search of a wide problem."""

    def paths(self) -> list[Indices]:
        """The requested paths, the best first."""
        best, most = self._near_best()
        if best is None and self.problem.keep:  # so many changes may weigh more than `NEVER`
            return self.kernel_paths(self.rows)[0]
        if best is None or not self.alternatives:
            return [] if best is None else [best]
        return self.with_alternatives(best, most)

    # --- near pairs known ---

    def _near_best(self) -> tuple[Indices | None, int]:
        """The best path of a wide problem, and its cost.

        In a loop, branch and bound: a set of first voicings that leaves too many survivors is split
        in two.
        """
        problem = self.problem
        best, most = self._good_path()
        found: list[Indices] = []
        heap: list[tuple[int, int, Index]] = [(0, 0, self.rows[0])]
        while heap:
            bound, _, first = heapq.heappop(heap)
            if bound > most:
                continue
            chain = self.chain(first if problem.closed else None)
            rest = chain.costs_to_go()
            bounds = chain.entry + rest[0]
            rows = self.kept(survivors(chain, rest, most)[0])
            if min(map(len, rows)) == 0:
                continue
            part = problem.on(rows)
            if problem.closed and len(rows[0]) > 1 and part.size().transitions > FEW:
                for half in np.array_split(rows[0], 2):
                    heapq.heappush(heap, (int(bounds[half].min()), int(half[0]), half))
                continue
            path = _best_of(part)
            if path is None:
                continue
            found.append(original_indices(rows, path))
            most = min(most, part.weighted_cost(path))
        if len(found) > 1:  # the best path passes through the candidates of one of them
            return self._best_through([np.unique(of) for of in zip(*found, strict=True)]), most
        return (found[0] if found else best), most

    def _best_through(self, rows: Sequence[Index]) -> Indices | None:
        """The best path through the candidates `rows`."""
        path = _best_of(self.problem.on(rows))
        return None if path is None else original_indices(rows, path)

    def _good_path(self) -> tuple[Indices | None, int]:
        """A good path over a few candidates a step, and its cost: an upper bound of the optimum."""
        chain = self.chain(None)
        kept = prune(chain, chain.costs_to_go())
        rows = [np.union1d(kept[0], kept[-1]), *kept[1:-1]] if self.problem.closed else kept
        part = self.problem.on(rows)
        path = _best_of(part)
        cost = NEVER if path is None else part.weighted_cost(path)
        if path is None or cost >= NEVER:
            return None, NEVER - 1
        return original_indices(rows, path), cost


def _best_of(problem: PathProblem) -> Indices | None:
    """The best path through all candidates; None if none exists."""
    problem.refuse_too_large()
    found = point_paths(problem, 0, 1)
    return found[0] if found else None


def _is_wide(problem: PathProblem) -> bool:
    """Whether it may be pruned, which needs cost to be the first criterion."""
    if problem.top_line != "free" or problem.largest() <= WIDE:
        return False
    voices = {of.voices for of in problem.priced}
    return len(voices) == 1 and None not in voices
