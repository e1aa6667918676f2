"""Problem: one request laid out for the kernel, and what the kernel makes of it.

Knows layers, candidates, costs and the kernel.
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
from shortway.core.solver.results import Size
from shortway.core.voice_leading.distance import Matrix, Moves, moves_between
from shortway.core.voice_leading.move_costs import (
    ChordChange,
    chord_change,
    move_costs,
)
from shortway.core.voice_leading.objective import (
    FIELDS,
    Array,
    Packing,
    VoicingCosts,
    against,
    forbid,
    packing,
    voicing_costs,
)
from shortway.core.voice_leading.pruning import Index, Mask
from shortway.core.voicings.model import Candidates

#: Most different transitions whose costs are held at a time: 16 million of 24 bytes are 384 MB.
MAX_TRANSITIONS: Final = 16_000_000
#: The highest MIDI number.
HIGHEST: Final = 127
#: Most states that keep alternatives apart.
MAX_STATES: Final = 4_096

Seam = tuple[int, int]


@dataclass(frozen=True, eq=False)
class PathProblem:
    """One request, laid out for the kernel.

    Attributes
    ----------
    layers : sequence of Layer
    candidates : sequence of Candidates
        Of each layer.
    costs : sequence of VoicingCosts
        Of each layer's candidates.
    before : Candidates or None
        The notes that sound before the first step.
    """

    steps: Sequence[Step]
    layers: Sequence[Layer]
    candidates: Sequence[Candidates]
    costs: Sequence[VoicingCosts]
    setting: Setting
    before: Candidates | None
    loop: bool
    top_line: str = "free"
    contexts: Sequence[Context | None] = ()
    _changes: dict[Seam, ChordChange] = field(default_factory=dict, repr=False)
    _moves: dict[Seam, Moves] = field(default_factory=dict, repr=False)
    _move_costs: dict[Seam, Matrix] = field(default_factory=dict, repr=False)

    @property
    def seams(self) -> list[Seam]:
        """Layers that follow each other; in a loop the last and the first, too."""
        order = range(len(self.layers))
        return [*pairwise(order), *([(order[-1], 0)] if self.closed else [])]

    @property
    def closed(self) -> bool:
        """Whether the path comes back to where it began."""
        return self.loop and len(self.layers) > 1

    def on(self, rows: Sequence[Index]) -> PathProblem:
        """The same request on some of the candidates of each layer."""
        return replace(
            self,
            candidates=[of.take(kept) for of, kept in zip(self.candidates, rows, strict=True)],
            costs=[of.take(kept) for of, kept in zip(self.costs, rows, strict=True)],
            _moves={},
            _move_costs={},
        )

    def repriced(self, setting: Setting) -> PathProblem:
        """The same request and candidates with the prices of another setting."""
        costs = [
            voicing_costs(of, setting, layer.offered(setting), layer.wants)
            for of, layer in zip(self.candidates, self.layers, strict=True)
        ]
        return replace(self, setting=setting, costs=costs, _changes={}, _moves={}, _move_costs={})

    def distinct(self) -> list[Index]:
        """Of every set of notes the candidate of the least price, the first of equals."""
        return [_distinct(of, costs) for of, costs in zip(self.candidates, self.costs, strict=True)]

    # --- moves ---

    def moves(self, a: int, b: int) -> Moves:
        """The matrices from layer `a` to layer `b`."""
        if (a, b) not in self._moves:
            pair = self.candidates[a], self.candidates[b]
            self._moves[a, b] = moves_between(*pair, self.setting.split_cost)
        return self._moves[a, b]

    def change(self, a: int, b: int) -> ChordChange:
        """What changes from layer `a` to layer `b`."""
        if (a, b) not in self._changes:
            before, after = ((self.layers[k].chord, self.candidates[k]) for k in (a, b))
            self._changes[a, b] = chord_change(before, after, self.setting.move_prices)
        return self._changes[a, b]

    def move_costs(self, a: int, b: int) -> Matrix:
        """Motion and prices of every move from layer `a` to layer `b`."""
        if (a, b) not in self._move_costs:
            pair = self.candidates[a], self.candidates[b]
            costs = move_costs(*pair, self.setting.split_cost, self.change(a, b))
            self._move_costs[a, b] = costs
        return self._move_costs[a, b]

    def entry(self) -> Moves | None:
        """The matrices from the notes that sound into the first layer."""
        if self.before is None or not self.layers:
            return None
        return moves_between(self.before, self.candidates[0], self.setting.split_cost)

    def begins_anew(self, b: int) -> bool:
        """Whether a line that rises or falls goes against nothing on its way into layer `b`.

        In a loop it does so where the last step leads back to the first; where a chord is held
        over the repeat, nothing leads back there.
        """
        first = self.layers[0].steps
        return self.closed and b == 0 and self.top_line != "hold" and first[0] <= first[-1]

    def must_change(self, a: int, b: int) -> bool:
        """Whether layer `b` repeats the chord of layer `a` and has to take another voicing."""
        last, first = self.layers[a].steps[-1], self.layers[b].steps[0]
        follows = (last + 1) % len(self.steps) == first
        same = self.layers[a].chord.name == self.layers[b].chord.name
        return self.setting.repeats == "change" and follows and same

    def forbidden(self, a: int, b: int) -> Mask | None:
        """Which moves hold a voicing that has to change; None where none has to."""
        if not self.must_change(a, b):
            return None
        left, right = self.candidates[a].notes, self.candidates[b].notes
        same: Mask = (left[:, None, :] == right[None, :, :]).all(axis=2)
        return same

    # --- sizes ---

    def size(self) -> Size:
        """The counts of the search."""
        counts = [len(of) for of in self.candidates]
        transitions = sum(counts[a] * counts[b] for a, b in self.seams)
        return Size(len(self.steps), sum(counts), transitions)

    def different(self) -> int:
        """Transitions that have costs of their own: equal seams share theirs."""
        of = self.candidates
        pairs = {(id(of[a]), id(of[b])): len(of[a]) * len(of[b]) for a, b in self.seams}
        return sum(pairs.values())

    def refuse_too_large(self) -> None:
        """Refuse what would hold the costs of too many transitions; before the memory is taken.

        Raises
        ------
        TooLarge
        """
        plainer = "" if self.top_line == "free" else ', or "top_line": "free"'
        refuse_too_large(self.different(), MAX_TRANSITIONS, plainer)

    # --- the kernel ---

    def way(self) -> ShortestPath | None:
        """The best path through all candidates, by the order of preference."""
        return (shortest_loop if self.closed else shortest)(*self.packed())

    def ways(self, alternatives: int, differs_in: int) -> list[ShortestPath]:
        """The best path and its alternatives, as `exact.solve_k_best` promises them."""
        costs, edges = self.packed()
        if differs_in == 1 and alternatives:
            every = (k_shortest_loops if self.closed else k_shortest_paths)(costs, edges)
            return list(islice(every, alternatives + 1))
        sizes = [len(of) for of in self.candidates]
        weights = [len(layer.steps) for layer in self.layers]
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

    def packed(self) -> tuple[list[Array], list[Array]]:
        """What the kernel weighs: the costs of nodes and edges, packed.

        Returns
        -------
        nodes : list of int64, each of shape (limbs, candidates)
        edges : list of int64, each of shape (limbs, candidates, candidates of the next layer)

        Raises
        ------
        TooLarge
            If the costs of too many transitions would be held.
        """
        self.refuse_too_large()
        entry, priced = self.entry(), {seam: self.move_costs(*seam) for seam in self.seams}
        places = packing(self._most(entry, priced))
        nodes = [self._nodes(places, k) for k in range(len(self.layers))]
        if entry is not None:
            nodes[0] = nodes[0] + self._into(places, entry)
        return nodes, self._edges(places, priced)

    def _most(self, entry: Moves | None, priced: dict[Seam, Matrix]) -> dict[str, int]:
        """What no path exceeds, by field of the order of preference."""
        moved = [self.moves(*seam) for seam in self.seams] + ([entry] if entry else [])
        motion, bass, squares, top = (
            map(sum, zip(*(m.most for m in moved), strict=True)) if moved else (0,) * 4
        )
        most = [of.most() for of in self.costs]
        cost = sum(int(of.max(initial=0)) for of in priced.values()) + sum(p for p, _, _ in most)
        counts = [len(layer.steps) for layer in self.layers]
        return {
            "against": 0 if self.top_line == "free" else HIGHEST * len(self.layers) + HIGHEST,
            "cost": cost + (entry.most[0] if entry else 0),
            "motion": motion,
            "lacking": sum(lacking for _, lacking, _ in most),
            "bass": bass,
            "squares": squares,
            "top": top,
            "home": sum(far * n for (_, _, far), n in zip(most, counts, strict=True)),
        }

    def _nodes(self, places: Packing, k: int) -> Array:
        of, steps = self.costs[k], len(self.layers[k].steps)
        return places.pack(of.price.shape, cost=of.price, lacking=of.lacking, home=of.home * steps)

    def _into(self, places: Packing, entry: Moves) -> Array:
        """The cost of the way in from the notes that sound."""
        first = (
            None if self.before is None else against(self.before, self.candidates[0], self.top_line)
        )
        fields = dict(zip(FIELDS[2:3] + FIELDS[4:7], entry.parts, strict=True))
        return places.pack(entry.motion.shape, cost=entry.motion, against=first, **fields)[:, 0]

    def _edges(self, places: Packing, priced: dict[Seam, Matrix]) -> list[Array]:
        """Costs of every seam; seams between the same candidates share one array."""
        packed: dict[tuple[int, int, bool], Array] = {}
        edges = []
        for (a, b), cost in priced.items():
            moves, anew = self.moves(a, b), self.begins_anew(b)
            key = id(moves), id(cost), anew
            if key not in packed:
                wish = (
                    None if anew else against(self.candidates[a], self.candidates[b], self.top_line)
                )
                fields = dict(zip(FIELDS[2:3] + FIELDS[4:7], moves.parts, strict=True))
                packed[key] = places.pack(cost.shape, cost=cost, against=wish, **fields)
            forbidden = self.forbidden(a, b)
            edges.append(packed[key] if forbidden is None else forbid(packed[key], forbidden))
        return edges

    # --- one path ---

    def cost(self, indices: Sequence[int]) -> int:
        """The cost of one path, from the notes that sounded and round the loop included."""
        entry = self.entry()
        into = 0 if entry is None else int(entry.motion[0, indices[0]])
        prices = sum(int(of.price[k]) for of, k in zip(self.costs, indices, strict=True))
        moves = sum(int(self.move_costs(a, b)[indices[a], indices[b]]) for a, b in self.seams)
        return into + prices + moves

    def rank(self, indices: Sequence[int]) -> tuple[object, ...]:
        """The order of preference of one path, as a value that compares."""
        ends = [(self.moves(a, b), (indices[a], indices[b])) for a, b in self.seams]
        entry = self.entry()
        if entry is not None:
            ends.append((entry, (0, indices[0])))
        motion, bass, squares, top = (
            sum(int(part[at]) for part, at in parts if part is not None)
            for parts in (
                [(m.motion, at) for m, at in ends],
                [(m.bass, at) for m, at in ends],
                [(m.squares, at) for m, at in ends],
                [(m.top, at) for m, at in ends],
            )
        )
        own = list(zip(self.costs, self.layers, indices, strict=True))
        lacking = sum(int(of.lacking[k]) for of, _, k in own)
        home = sum(int(of.home[k]) * len(layer.steps) for of, layer, k in own)
        notes = [of.midi(k) for of, k in zip(self.candidates, indices, strict=True)]
        return (self.cost(indices), motion, lacking, bass, squares, top, home, notes)


def _distinct(of: Candidates, costs: VoicingCosts) -> Index:
    if len(of) < 2:
        return np.arange(len(of))
    starts = np.ones(len(of), np.bool_)
    starts[1:] = (of.notes[1:] != of.notes[:-1]).any(axis=1)
    group = np.cumsum(starts)
    order = np.lexsort((costs.price, group))
    first = np.ones(len(of), np.bool_)
    first[1:] = group[order][1:] != group[order][:-1]
    return np.asarray(order[first])


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
