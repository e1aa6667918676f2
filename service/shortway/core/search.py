"""Search: one request laid out for the kernel, and solved exactly.

Knows nodes, candidates, costs and the kernel. Steps with a few hundred candidates go to the kernel as
they are; where there are thousands, `shortway.core.narrowing` first drops what is proven not to be
on the best path.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Final

import numpy as np

from shortway.core.answers import Size
from shortway.core.chart import Step
from shortway.core.errors import Fault, NoVoicing, TooLarge
from shortway.core.motion import Moves, moves_between
from shortway.core.narrowing import NEVER, Chain, Index, narrow, survivors
from shortway.core.nodes import Node
from shortway.core.path import Way, shortest, shortest_loop
from shortway.core.preference import Array, Packing, forbid, from_home, packing
from shortway.core.setting import Setting
from shortway.core.telling import Trip
from shortway.core.voicing import Candidates

#: Most transitions whose costs are held at a time: 32 million of 8 bytes are 256 MB.
MAX_TRANSITIONS: Final = 32_000_000
#: Most different transitions of one request that are narrowed.
MAX_NARROWED: Final = 2_000_000_000
#: A seam of more transitions is narrowed first.
WIDE: Final = 250_000
#: A narrowed loop of more transitions is cut into smaller ones.
FEW: Final = 3_000_000


@dataclass(frozen=True, eq=False)
class Search:
    """One request, laid out for the kernel: a node and its candidates for each layer."""

    steps: Sequence[Step]
    nodes: Sequence[Node]
    layers: Sequence[Candidates]
    setting: Setting
    before: Candidates | None
    loop: bool
    _moves: dict[tuple[int, int], Moves] = field(default_factory=dict, repr=False)

    @property
    def seams(self) -> list[tuple[int, int]]:
        """Nodes that follow each other; in a loop the last and the first, too."""
        order = range(len(self.nodes))
        return [*pairwise(order), *([(order[-1], 0)] if self.loop and len(order) > 1 else [])]

    @property
    def closed(self) -> bool:
        """Whether the way comes back to where it began."""
        return self.loop and len(self.nodes) > 1

    def on(self, rows: Sequence[Index]) -> Search:
        """The same request on some of the candidates of each layer."""
        layers = [of.take(kept) for of, kept in zip(self.layers, rows, strict=True)]
        return replace(self, layers=layers, _moves={})

    def moves(self, a: int, b: int) -> Moves:
        """The matrices from node `a` to node `b`."""
        if (a, b) not in self._moves:
            pair = self.layers[a], self.layers[b]
            self._moves[a, b] = moves_between(*pair, self.setting.split_cost)
        return self._moves[a, b]

    def entry(self) -> Moves | None:
        """The matrices from the notes that sound into the first node."""
        if self.before is None or not self.layers:
            return None
        return moves_between(self.before, self.layers[0], self.setting.split_cost)

    def size(self) -> Size:
        """The counts of the search."""
        counts = [len(of) for of in self.layers]
        transitions = sum(counts[a] * counts[b] for a, b in self.seams)
        return Size(len(self.steps), sum(counts), transitions)

    def far(self) -> list[Array]:
        """Distance from home of every candidate, once for each of its steps."""
        return [
            from_home(of, self.setting.home) * len(node.steps)
            for of, node in zip(self.layers, self.nodes, strict=True)
        ]

    def way(self) -> Way | None:
        """The best way through all candidates, by the order of preference."""
        _refuse_too_large(self.size().transitions, MAX_TRANSITIONS)
        entry, seams, far = self.entry(), self.seams, self.far()
        between = [self.moves(a, b) for a, b in seams]
        places = packing([*between, *([entry] if entry else [])], far)
        costs = [places.nodes(cost) for cost in far]
        if entry is not None:
            costs[0] = costs[0] + places.edges(entry)[:, 0]
        edges = self._edges(places, between)
        return (shortest_loop if self.closed else shortest)(costs, edges)

    def _edges(self, places: Packing, between: Sequence[Moves]) -> list[Array]:
        """Costs of every seam; seams between the same candidates share one array."""
        packed: dict[int, Array] = {}
        edges = []
        for (a, b), step in zip(self.seams, between, strict=True):
            if id(step) not in packed:
                packed[id(step)] = places.edges(step)
            edges.append(self._changed(a, b, packed[id(step)]))
        return edges

    def _changed(self, a: int, b: int, edges: Array) -> Array:
        """Under ``change``, no way from a voicing to itself where the chord is repeated."""
        last, first = self.nodes[a].steps[-1], self.nodes[b].steps[0]
        follows = (last + 1) % len(self.steps) == first
        same = self.nodes[a].chord.name == self.nodes[b].chord.name
        if not (self.setting.repeats == "change" and follows and same):
            return edges
        left, right = self.layers[a].notes, self.layers[b].notes
        return forbid(edges, (left[:, None, :] == right[None, :, :]).all(axis=2))

    def rank(self, indices: Sequence[int]) -> tuple[object, ...]:
        """The order of preference of one way, as a value that compares."""
        steps = [(self.moves(a, b), (indices[a], indices[b])) for a, b in self.seams]
        entry = self.entry()
        if entry is not None:
            steps.append((entry, (0, indices[0])))
        sums = [
            sum(int(part[at]) for part, at in parts if part is not None)
            for parts in (
                [(m.motion, at) for m, at in steps],
                [(m.bass, at) for m, at in steps],
                [(m.squares, at) for m, at in steps],
                [(m.top, at) for m, at in steps],
            )
        ]
        home = sum(int(cost[k]) for cost, k in zip(self.far(), indices, strict=True))
        notes = [of.midi(k) for of, k in zip(self.layers, indices, strict=True)]
        return (*sums, home, notes)

    def trip(self, indices: Sequence[int], size: Size) -> Trip:
        """The way over the candidates `indices`, one a node, with its figures."""
        ends = {(a, b): (indices[a], indices[b]) for a, b in self.seams}
        bass = [m.bass[at] for seam, at in ends.items() if (m := self.moves(*seam)).bass is not None]
        entry = self.entry()
        if entry is not None and entry.bass is not None:
            bass.append(entry.bass[0, indices[0]])
        return Trip(
            steps=self.steps,
            nodes=self.nodes,
            played=[
                of.voicing(at, node.chord)
                for of, at, node in zip(self.layers, indices, self.nodes, strict=True)
            ],
            motion={seam: int(self.moves(*seam).motion[at]) for seam, at in ends.items()},
            before=() if self.before is None else self.before.midi(0)[int(self.before.has_bass) :],
            start=None if entry is None else int(entry.motion[0, indices[0]]),
            bass=int(sum(bass)),
            loop=self.loop,
            setting=self.setting,
            size=size,
        )


def _refuse_too_large(transitions: int, most: int) -> None:
    if transitions > most:
        raise TooLarge.at(
            "",
            f"the search has {transitions:,} transitions between voicings",
            expected=f"at most {most:,}: fewer families or notes, a narrower range, a shorter chart",
        )


def best_trip(search: Search) -> Trip:
    """The best way of a request, with the counts of all that was searched.

    Raises
    ------
    TooLarge
        If it is too large to be solved exactly; before the memory is taken.
    NoVoicing
        If repeated chords must change and there is nothing to change to.
    """
    if not search.layers:
        return search.trip((), search.size())
    narrowed, way = _narrowed(search) if _is_wide(search) else (search, search.way())
    if way is None:
        detail = "a chord that is repeated has no other voicing to change to"
        expected = 'more families, a wider range, or "repeats": "hold"'
        raise NoVoicing(detail, Fault("/setting/repeats", detail, expected=expected))
    return narrowed.trip(way.nodes, search.size())


def _is_wide(search: Search) -> bool:
    sizes = {int(size) for of in search.layers for size in np.unique(of.sizes)}
    counts = [len(of) for of in search.layers]
    wide = any(counts[a] * counts[b] > WIDE for a, b in search.seams)
    return wide and len(sizes) == 1


# --- narrowed ------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Narrowing:
    """A wide search, its chain of layers and how far near pairs reach."""

    search: Search
    steps: Sequence[Candidates]
    entry: np.ndarray[tuple[int], np.dtype[np.int32]]
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


def _narrowed(search: Search) -> tuple[Search, Way | None]:
    """The search on what narrowing leaves, and its best way.

    In a loop, branch and bound: a set of first voicings whose chain leaves too much is cut in two.
    """
    seams = {(id(search.layers[a]), id(search.layers[b])): (a, b) for a, b in search.seams}
    work = sum(len(search.layers[a]) * len(search.layers[b]) for a, b in seams.values())
    _refuse_too_large(work, MAX_NARROWED)
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
        if way is not None and (best is None or piece.rank(way.nodes) < best[0].rank(best[1].nodes)):
            best = piece, way
            most = min(most, int(piece.rank(way.nodes)[0]))  # type: ignore[call-overload]
    return best if best is not None else (search, None)


def _frame(search: Search) -> _Narrowing:
    entry = search.entry()
    first = np.zeros(len(search.layers[0]), np.int32) if entry is None else entry.motion[0]
    steps = [*search.layers, search.layers[0]] if search.closed else list(search.layers)
    voices = max(4, int(search.layers[0].sizes[0]))
    return _Narrowing(search, steps, first, [voices] * (len(steps) - 1))


def _good(frame: _Narrowing) -> tuple[tuple[Search, Way] | None, int]:
    """A good path over a few candidates a step, and its motion: no optimum exceeds it."""
    search = frame.search
    chain = frame.chain(None)
    kept = narrow(chain, chain.to_go(frame.radii), frame.radii)
    rows = [np.union1d(kept[0], kept[-1]), *kept[1:-1]] if search.closed else kept
    piece = search.on(rows)
    way = piece.way()
    if way is None:
        return None, NEVER - 1
    return (piece, way), int(piece.rank(way.nodes)[0])  # type: ignore[call-overload]
