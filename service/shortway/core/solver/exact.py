"""Optimum: the best path of a search and its alternatives, exactly, however wide it is.

Knows searches and narrowing. Steps with a few hundred candidates go to the kernel as they are;
where there are thousands, `voice_leading.pruning` first drops what is proven not to be on the
best path.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.errors import Fault, NoVoicing
from shortway.core.shortest_path.kernel import ShortestPath
from shortway.core.solver.problem import PathProblem, refuse_too_large
from shortway.core.solver.report import Solution
from shortway.core.voice_leading.pruning import NEVER, Chain, Index, prune, survivors
from shortway.core.voicings.model import Candidates

#: Most different transitions of one request that are narrowed.
MAX_NARROWED: Final = 2_000_000_000
#: A seam of more transitions is narrowed first.
WIDE: Final = 250_000
#: A narrowed loop of more transitions is cut into smaller ones.
FEW: Final = 3_000_000


def solve_k_best(search: PathProblem, alternatives: int = 0, differs_in: int = 1) -> list[Solution]:
    """The best way of a request and its alternatives, with the counts of all that was searched.

    Each alternative is the best way, by the order of preference, of those that differ from the best
    and from every earlier alternative in the notes of at least `differs_in` steps; with 1 they are
    the next best ways. There are fewer where no more exist.

    Raises
    ------
    TooLarge
        If it is too large to be solved exactly; before the memory is taken.
    NoVoicing
        If repeated chords must change and there is nothing to change to.
    """
    if not search.layers:
        return [search.trip((), search.size())]
    size = search.size()
    if alternatives:
        search = search.distinct()
    if _is_wide(search):
        narrowed, ways = _wide(search, alternatives, differs_in)
    else:
        narrowed, ways = search, search.ways(alternatives, differs_in)
    if not ways:
        detail = "a chord that is repeated has no other voicing to change to"
        expected = 'more families, a wider range, or "repeats": "hold"'
        raise NoVoicing(detail, Fault("/setting/repeats", detail, expected=expected))
    return [narrowed.trip(way.nodes, size) for way in ways]


def _is_wide(search: PathProblem) -> bool:
    counts = [len(of) for of in search.layers]
    if search.top_line != "free":  # narrowing rests on motion being what is asked first
        return False
    if not any(counts[a] * counts[b] > WIDE for a, b in search.seams):
        return False
    voices = {of.voices for of in search.layers}
    return len(voices) == 1 and None not in voices


# --- narrowed ------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Narrowing:
    """A wide search, its chain of layers and how far near pairs reach."""

    search: PathProblem
    steps: Sequence[Candidates]
    entry: NDArray[np.int32]
    radii: Sequence[int]

    def chain(self, ends: Index | None) -> Chain:
        """The layers in a row; in a loop it begins and ends in the candidates `ends`."""
        allowed = [np.ones(len(of), np.bool_) for of in self.steps]
        if ends is not None:
            for end in (0, -1):
                allowed[end][:] = False
                allowed[end][ends] = True
        entry = np.where(allowed[0], self.entry, np.int32(NEVER))
        return Chain(self.steps, allowed, entry)

    def rows(self, kept: list[Index]) -> list[Index]:
        """Rows for each layer of the search; in a loop the first must be good at both ends."""
        if not self.search.closed:
            return kept
        return [np.intersect1d(kept[0], kept[-1]), *kept[1:-1]]


def _wide(
    search: PathProblem, alternatives: int, differs_in: int
) -> tuple[PathProblem, list[ShortestPath]]:
    """A wide search narrowed, with its best way and its alternatives.

    Every way of at most `most` semitones goes through survivors of `most` alone; so alternatives
    found among them are right once none has more. If one has, `most` is raised to it.
    """
    narrowed, best = _narrowed(search)
    if best is None or not alternatives:
        return narrowed, [best] if best is not None else []
    frame = _frame(search)
    chain = frame.chain(None)
    rest = chain.to_go(frame.radii)
    most = narrowed.motion(best.nodes)
    while True:
        piece = search.on(frame.rows(survivors(chain, rest, frame.radii, most)))
        ways = piece.ways(alternatives, differs_in)
        needed = max((piece.motion(way.nodes) for way in ways), default=most)
        if len(ways) <= alternatives:
            if piece.size().candidates == search.size().candidates:
                return piece, ways
            needed = max(needed, most + max(4, most // 8))
        if needed <= most:
            return piece, ways
        most = needed


def _narrowed(search: PathProblem) -> tuple[PathProblem, ShortestPath | None]:
    """The search on what narrowing leaves, and its best way.

    In a loop, branch and bound: a set of first voicings whose chain leaves too much is cut in two.
    """
    refuse_too_large(search.different(), MAX_NARROWED)
    frame = _frame(search)
    best, most = _good(frame)
    heap: list[tuple[int, int, Index]] = [(0, 0, np.arange(len(search.layers[0])))]
    while heap:
        bound, _, first = heapq.heappop(heap)
        if bound > most:
            continue
        chain = frame.chain(first if search.closed else None)
        rest = chain.to_go(frame.radii)
        bounds = chain.entry + rest[0]
        kept = frame.rows(survivors(chain, rest, frame.radii, most))
        if min(map(len, kept)) == 0:
            continue
        piece = search.on(kept)
        if search.closed and len(kept[0]) > 1 and piece.size().transitions > FEW:
            for half in np.array_split(kept[0], 2):
                heapq.heappush(heap, (int(bounds[half].min()), int(half[0]), half))
            continue
        way = piece.way()
        if way is not None and (
            best is None or piece.rank(way.nodes) < best[0].rank(best[1].nodes)
        ):
            best = piece, way
            most = min(most, piece.motion(way.nodes))
    return best if best is not None else (search, None)


def _frame(search: PathProblem) -> _Narrowing:
    entry = search.entry()
    first = np.zeros(len(search.layers[0]), np.int32) if entry is None else entry.motion[0]
    steps = [*search.layers, search.layers[0]] if search.closed else list(search.layers)
    voices = max(4, int(search.layers[0].sizes[0]))
    return _Narrowing(search, steps, first, [voices] * (len(steps) - 1))


def _good(frame: _Narrowing) -> tuple[tuple[PathProblem, ShortestPath] | None, int]:
    """A good path over a few candidates a step, and its motion: no optimum exceeds it."""
    search = frame.search
    chain = frame.chain(None)
    kept = prune(chain, chain.to_go(frame.radii), frame.radii)
    rows = [np.union1d(kept[0], kept[-1]), *kept[1:-1]] if search.closed else kept
    piece = search.on(rows)
    way = piece.way()
    if way is None:
        return None, NEVER - 1
    return (piece, way), piece.motion(way.nodes)
