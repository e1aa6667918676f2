"""Search: one request laid out for the kernel, and what the kernel says of it.

Knows nodes, candidates, costs and the kernel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import islice, pairwise
from typing import Final

import numpy as np

from shortway.core.charts import Step
from shortway.core.errors import TooLarge
from shortway.core.harmony.context import Context
from shortway.core.settings.setting import Setting
from shortway.core.shortest_path.k_best import (
    diversity_constraint,
    k_shortest_loops,
    k_shortest_paths,
)
from shortway.core.shortest_path.kernel import ShortestPath, shortest, shortest_loop
from shortway.core.solver.layers import Layer
from shortway.core.solver.report import Solution
from shortway.core.solver.results import Size
from shortway.core.voice_leading.distance import Moves, moves_between
from shortway.core.voice_leading.objective import (
    Array,
    HomeDistance,
    Packing,
    against,
    forbid,
    from_home,
    gone_against,
    packing,
)
from shortway.core.voice_leading.pruning import Index
from shortway.core.voicings.model import Candidates

#: Most different transitions whose costs are held at a time: 16 million of 24 bytes are 384 MB.
MAX_TRANSITIONS: Final = 16_000_000
#: The highest MIDI number.
HIGHEST: Final = 127
#: Most states that keep alternatives apart.
MAX_STATES: Final = 4_096


@dataclass(frozen=True, eq=False)
class PathProblem:
    """One request, laid out for the kernel: a node and its candidates for each layer."""

    steps: Sequence[Step]
    nodes: Sequence[Layer]
    layers: Sequence[Candidates]
    setting: Setting
    before: Candidates | None
    loop: bool
    top_line: str = "free"
    contexts: Sequence[Context | None] = ()
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

    def on(self, rows: Sequence[Index]) -> PathProblem:
        """The same request on some of the candidates of each layer."""
        layers = [of.take(kept) for of, kept in zip(self.layers, rows, strict=True)]
        return replace(self, layers=layers, _moves={})

    def distinct(self) -> PathProblem:
        """The same request with every set of notes once: the best way is the same."""
        return replace(self, layers=[of.distinct for of in self.layers], _moves={})

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

    def begins_anew(self, b: int) -> bool:
        """Whether a line that rises or falls goes against nothing on its way into node `b`.

        In a loop it does so where the last step leads back to the first; where a chord is held
        over the repeat, nothing leads back there.
        """
        first = self.nodes[0].steps
        return self.closed and b == 0 and self.top_line != "hold" and first[0] <= first[-1]

    def entry_against(self) -> Array | None:
        """The same from the notes that sound into the first node."""
        if self.before is None or not self.layers:
            return None
        return against(self.before, self.layers[0], self.top_line)

    def size(self) -> Size:
        """The counts of the search."""
        counts = [len(of) for of in self.layers]
        transitions = sum(counts[a] * counts[b] for a, b in self.seams)
        return Size(len(self.steps), sum(counts), transitions)

    def different(self) -> int:
        """Transitions that have costs of their own: equal seams share theirs."""
        pairs = {(id(self.layers[a]), id(self.layers[b])): (a, b) for a, b in self.seams}
        return sum(len(self.layers[a]) * len(self.layers[b]) for a, b in pairs.values())

    def far(self) -> list[tuple[HomeDistance, int]]:
        """How far the candidates of each node lie from home, and the number of its steps."""
        home = self.setting.home
        pairs = zip(self.layers, self.nodes, strict=True)
        return [(from_home(of, home), len(node.steps)) for of, node in pairs]

    def way(self) -> ShortestPath | None:
        """The best way through all candidates, by the order of preference."""
        return (shortest_loop if self.closed else shortest)(*self._costs())

    def ways(self, alternatives: int, differs_in: int) -> list[ShortestPath]:
        """The best way and its alternatives, as `best_trips` promises them."""
        costs, edges = self._costs()
        if differs_in == 1 and alternatives:
            every = (k_shortest_loops if self.closed else k_shortest_paths)(costs, edges)
            return list(islice(every, alternatives + 1))
        sizes = [len(of) for of in self.layers]
        weights = [len(node.steps) for node in self.nodes]
        kernel = shortest_loop if self.closed else shortest
        found: list[ShortestPath] = []
        while len(found) <= alternatives:
            _refuse_too_many_states((differs_in + 1) ** len(found))
            guard = (
                diversity_constraint(sizes, [w.nodes for w in found], weights, differs_in)
                if found
                else None
            )
            way = kernel(costs, edges, guard)
            if way is None:
                break
            found.append(way)
        return found

    def _costs(self) -> tuple[list[Array], list[Array]]:
        """What the kernel weighs: the costs of nodes and edges."""
        plainer = "" if self.top_line == "free" else ', or "top_line": "free"'
        refuse_too_large(self.different(), MAX_TRANSITIONS, plainer)
        entry, seams, far = self.entry(), self.seams, self.far()
        between = [self.moves(a, b) for a, b in seams]
        farthest = sum(of.most * steps for of, steps in far)
        wished = self.top_line != "free"
        most = HIGHEST * (len(seams) + 1) if wished else None
        places = packing([*between, *([entry] if entry else [])], farthest, most)
        costs = [places.nodes(*of) for of in far]
        if entry is not None:
            into, first = places.edges(entry), self.entry_against()
            costs[0] = costs[0] + (into if first is None else places.against(into, first))[:, 0]
        return costs, self._edges(places, between)

    def _edges(self, places: Packing, between: Sequence[Moves]) -> list[Array]:
        """Costs of every seam; seams between the same candidates share one array."""
        packed: dict[tuple[int, bool], Array] = {}
        edges = []
        for (a, b), step in zip(self.seams, between, strict=True):
            key = id(step), self.begins_anew(b)
            if key not in packed:
                wish = None if key[1] else against(self.layers[a], self.layers[b], self.top_line)
                plain = places.edges(step)
                packed[key] = plain if wish is None else places.against(plain, wish)
            edges.append(self._changed(a, b, packed[key]))
        return edges

    def must_change(self, a: int, b: int) -> bool:
        """Whether node `b` repeats the chord of node `a` and has to take another voicing."""
        last, first = self.nodes[a].steps[-1], self.nodes[b].steps[0]
        follows = (last + 1) % len(self.steps) == first
        same = self.nodes[a].chord.name == self.nodes[b].chord.name
        return self.setting.repeats == "change" and follows and same

    def _changed(self, a: int, b: int, edges: Array) -> Array:
        """Under ``change``, no way from a voicing to itself where the chord is repeated."""
        if not self.must_change(a, b):
            return edges
        left, right = self.layers[a].notes, self.layers[b].notes
        return forbid(edges, (left[:, None, :] == right[None, :, :]).all(axis=2))

    def motion(self, indices: Sequence[int]) -> int:
        """The motion of one way, from the notes that sounded and round the loop included."""
        entry = self.entry()
        into = 0 if entry is None else int(entry.motion[0, indices[0]])
        return into + sum(
            int(self.moves(a, b).motion[indices[a], indices[b]]) for a, b in self.seams
        )

    def gone_against(self, indices: Sequence[int]) -> int | None:
        """By how many semitones one way goes against the top line's wish; None without one."""
        if self.top_line == "free":
            return None
        first = self.entry_against()
        total = 0 if first is None else int(first[0, indices[0]])
        tops = [max(of.midi(k)) for of, k in zip(self.layers, indices, strict=True)]
        ups = [tops[b] - tops[a] for a, b in self.seams if not self.begins_anew(b)]
        return total + sum(int(gone_against(np.array(up), self.top_line)) for up in ups)

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
        line = self.gone_against(indices) or 0
        far = zip(self.far(), indices, strict=True)
        home = sum(int(of.distance[k]) * steps for (of, steps), k in far)
        notes = [of.midi(k) for of, k in zip(self.layers, indices, strict=True)]
        return (line, *sums, home, notes)

    def trip(self, indices: Sequence[int], size: Size) -> Solution:
        """The way over the candidates `indices`, one a node, with its figures."""
        ends = {(a, b): (indices[a], indices[b]) for a, b in self.seams}
        bass = [
            m.bass[at] for seam, at in ends.items() if (m := self.moves(*seam)).bass is not None
        ]
        entry = self.entry()
        if entry is not None and entry.bass is not None:
            bass.append(entry.bass[0, indices[0]])
        return Solution(
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
            top_line=self.gone_against(indices),
            contexts=self.contexts,
        )


def refuse_too_large(transitions: int, most: int, plainer: str = "") -> None:
    """Refuse a search of more than `most` transitions."""
    if transitions > most:
        raise TooLarge.at(
            "",
            f"the search has {transitions:,} transitions between voicings",
            expected=f"at most {most:,}: fewer notes, a narrower range, a shorter chart{plainer}",
        )


def _refuse_too_many_states(states: int) -> None:
    if states > MAX_STATES:
        raise TooLarge.at(
            "/alternatives",
            f"keeping so many paths so far apart takes {states:,} states",
            expected=f"at most {MAX_STATES:,}: (differs_in + 1) to the power of alternatives",
        )
