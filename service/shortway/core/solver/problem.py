"""Problem: one request as layers of candidates, with the costs of voicings and moves.

Knows layers, candidates and costs; `search.point_search` makes arrays for the kernel of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise
from operator import mul
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.charts import Step
from shortway.core.errors import TooLarge
from shortway.core.harmony.context import Context
from shortway.core.settings.setting import Setting
from shortway.core.shortest_path.least_cost import NEVER
from shortway.core.solver.layers import Layer
from shortway.core.solver.priced_layers import PricedCandidates, priced_candidates
from shortway.core.solver.results import Size
from shortway.core.voice_leading.distance import Matrix, Moves, moves_between
from shortway.core.voice_leading.move_costs import ChordChange, chord_change, move_costs
from shortway.core.voice_leading.near_pairs import Bound, Index
from shortway.core.voice_leading.objective import VoicingCosts
from shortway.core.voicings.candidate_arrays import Candidates, Mask

#: Most different transitions whose costs are held at a time: 16 million of 24 bytes are 384 MB.
MAX_TRANSITIONS: Final = 16_000_000

#: The highest MIDI number.
_HIGHEST: Final = 127

Seam = tuple[int, int]


@dataclass(frozen=True, eq=False)
class PathProblem:
    """One request as layers of candidates.

    Attributes
    ----------
    layers : sequence of Layer
    priced : sequence of PricedCandidates
        Of each layer.
    before : Candidates or None
        The notes that sound before the first step.
    keep : mapping
        MIDI numbers, ascending, by the steps that are to keep them.
    change_weight : int
        What one changed step counts where one number is compared: more than any path costs, each
        semitone against a top line at more than any cost.
    """

    steps: Sequence[Step]
    layers: Sequence[Layer]
    priced: Sequence[PricedCandidates]
    setting: Setting
    before: Candidates | None
    loop: bool
    top_line: str = "free"
    contexts: Sequence[Context | None] = ()
    keep: Mapping[int, tuple[int, ...]] = field(default_factory=dict)
    change_weight: int = 0
    _moves: dict[Seam, Moves] = field(default_factory=dict, init=False, repr=False)
    _move_costs: dict[Seam, Matrix] = field(default_factory=dict, init=False, repr=False)

    @cached_property
    def candidates(self) -> list[Candidates]:
        """The candidates of each layer."""
        return [of.candidates for of in self.priced]

    @cached_property
    def costs(self) -> list[VoicingCosts]:
        """The costs of each layer's candidates."""
        return [of.costs for of in self.priced]

    @cached_property
    def seams(self) -> list[Seam]:
        """Layers that follow each other; in a loop the last and the first, too."""
        order = range(len(self.layers))
        return [*pairwise(order), *([(order[-1], 0)] if self.closed else [])]

    @property
    def closed(self) -> bool:
        """Whether the last layer leads back to another first layer."""
        return self.loop and len(self.layers) > 1

    def on(self, rows: Sequence[Index]) -> PathProblem:
        """The same request on some candidates of each layer; those kept whole stay shared.

        `rows` has an array of shape (candidates kept,) for each layer.
        """
        priced = [
            of
            if len(kept) == of.count
            else PricedCandidates.of(of.candidates.take(kept), of.costs.take(kept))
            for of, kept in zip(self.priced, rows, strict=True)
        ]
        return replace(self, priced=priced)

    def repriced(self, setting: Setting) -> PathProblem:
        """The same request and candidates with the prices of another setting."""
        pairs = zip(self.candidates, self.layers, strict=True)
        priced = [priced_candidates(of, layer, setting) for of, layer in pairs]
        return replace(self, setting=setting, priced=priced)

    def keeping(self, keep: Mapping[int, tuple[int, ...]]) -> PathProblem:
        """The same request with notes to keep; steps without a voicing cannot keep any."""
        priced = []
        for of, layer in zip(self.priced, self.layers, strict=True):
            changed = _changes(layer, of.candidates, keep)
            priced.append(of._replace(costs=replace(of.costs, changed=changed, shared=False)))
        line = 1 if self.top_line == "free" else 1 + _HIGHEST * (1 + len(self.layers))
        weight = (1 + self.most_cost()) * line
        return replace(self, priced=priced, keep=keep, change_weight=weight)

    def most_cost(self) -> int:
        """A cost that no path exceeds, without the cost of every move."""
        of, split_cost = self.candidates, self.setting.split_cost
        entry = [] if self.before is None or not of else [(self.before, of[0])]
        pairs = [*entry, *((of[a], of[b]) for a, b in self.seams)]
        a_voice = sum(self.setting.move_prices)
        moves = sum(_most_motion(a, b, split_cost + a_voice) for a, b in pairs)
        return moves + sum(int(costs.price.max(initial=0)) for costs in self.costs)

    def distinct(self) -> list[Index]:
        """Of every set of notes the candidate of the least price, the first of equals.

        One array of shape (distinct candidates,) for each layer.
        """
        return [self.distinct_rows(k) for k in range(len(self.layers))]

    def distinct_rows(self, k: int) -> Index:
        """The same for the layer `k` alone."""
        return _distinct(self.candidates[k], self.costs[k])

    # --- moves ---

    def moves(self, a: int, b: int) -> Moves:
        """The matrices from layer `a` to layer `b`."""
        if (a, b) not in self._moves:
            pair = self.candidates[a], self.candidates[b]
            self._moves[a, b] = moves_between(*pair, self.setting.split_cost)
        return self._moves[a, b]

    @cached_property
    def change_prices(self) -> ChordChange:
        """What changes between chords of two roots."""
        return ChordChange(*self.setting.move_prices)

    def change(self, a: int, b: int) -> ChordChange:
        """What changes from layer `a` to layer `b`."""
        before = self.layers[a].chord, self.priced[a].candidates
        after = self.layers[b].chord, self.priced[b].candidates
        return chord_change(before, after, self.change_prices)

    def move_costs(self, a: int, b: int) -> Matrix:
        """Motion and prices of every move, shape (candidates of `a`, candidates of `b`)."""
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
        """Whether a top line that rises or falls starts again at layer `b`.

        In a loop it does so where the last step leads back to the first, unless a chord is held
        over the repeat.
        """
        first = self.layers[0].steps
        return self.closed and b == 0 and self.top_line != "hold" and first[0] <= first[-1]

    def must_change(self, a: int, b: int) -> bool:
        """Whether layer `b` repeats the chord of layer `a` and has to take another voicing."""
        if self.setting.repeats != "change":
            return False
        last, first = self.layers[a].steps[-1], self.layers[b].steps[0]
        follows = (last + 1) % len(self.steps) == first
        return follows and self.layers[a].chord.name == self.layers[b].chord.name

    def forbidden(self, a: int, b: int) -> Mask | None:
        """Which moves repeat a voicing that has to change; None where none has to.

        Shape (candidates of `a`, candidates of `b`).
        """
        if not self.must_change(a, b):
            return None
        left, right = self.candidates[a].notes, self.candidates[b].notes
        same: Mask = (left[:, None, :] == right[None, :, :]).all(axis=2)
        return same

    # --- sizes ---

    @cached_property
    def _transitions(self) -> list[int]:
        """The transitions of each seam."""
        counts = [of.count for of in self.priced]
        return list(map(mul, counts, counts[1:] + counts[: self.closed]))

    def size(self) -> Size:
        """The counts of steps, candidates and transitions."""
        counts = [of.count for of in self.priced]
        return Size(len(self.steps), sum(counts), sum(self._transitions))

    def largest(self) -> int:
        """The most transitions of any seam."""
        return max(self._transitions, default=0)

    def different(self) -> int:
        """Transitions with costs of their own: seams between the same candidates share theirs."""
        of, counts = self.candidates, self._transitions
        pairs = [(id(of[a]), id(of[b])) for a, b in self.seams]
        return sum(dict(zip(pairs, counts, strict=True)).values())

    def refuse_too_large(self) -> None:
        """Raises `TooLarge` before the costs of too many transitions take memory."""
        if sum(self._transitions) <= MAX_TRANSITIONS:
            return
        plainer = "" if self.top_line == "free" else ', or "top_line": "free"'
        refuse_too_large(self.different(), MAX_TRANSITIONS, plainer)

    # --- cost and changed steps as one number ---

    def weighted_prices(self, k: int) -> Bound:
        """The prices of the candidates of layer `k`, each changed step at its weight.

        Of shape (candidates,); at most `NEVER`.
        """
        price, changed = self.costs[k].price, self.costs[k].changed
        if changed is None:
            return price
        weighted = np.minimum(price + changed.astype(np.int64) * self.change_weight, NEVER)
        return np.asarray(weighted, np.int32)

    def weighted_cost(self, indices: Sequence[int]) -> int:
        """The cost of one path, from the notes that sounded and round the loop included.

        Each changed step counts more than any path costs.
        """
        entry = self.entry()
        into = 0 if entry is None else int(entry.motion[0, indices[0]])
        prices = sum(int(self.weighted_prices(k)[at]) for k, at in enumerate(indices))
        moves = sum(int(self.move_costs(a, b)[indices[a], indices[b]]) for a, b in self.seams)
        return into + prices + moves


def _changes(
    layer: Layer, of: Candidates, keep: Mapping[int, tuple[int, ...]]
) -> NDArray[np.int32] | None:
    """Steps of a layer that each candidate changes beyond what any of them has to."""
    kept = [keep[step] for step in layer.steps if step in keep]
    if not kept or not len(of):
        return None
    changed = np.sum([~of.playing(midi) for midi in kept], axis=0, dtype=np.int32)
    least: NDArray[np.int32] = changed - changed.min()
    return least


def _most_motion(a: Candidates, b: Candidates, more: int) -> int:
    """Semitones, `more` for every voice, that no move from `a` to `b` exceeds."""
    high = max(int(of.notes.max()) for of in (a, b))
    low = min(int(of.notes[of.notes >= 0].min()) for of in (a, b))
    voices: int = max(of.upper.shape[1] for of in (a, b))
    return voices * (high - low + more)


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
    """Raises `TooLarge` for more than `most` transitions; `plainer` ends what is expected."""
    if transitions > most:
        raise TooLarge.at(
            "",
            f"the search has {transitions:,} transitions between voicings",
            expected=f"at most {most:,}: fewer notes, a narrower range, a shorter chart{plainer}",
        )
