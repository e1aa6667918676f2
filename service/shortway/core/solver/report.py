"""Report: a path through the layers as a result, step by step.

Knows problems, voicings and remarks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import repeat
from typing import Final, NamedTuple

import numpy as np

from shortway.core.cache import Memo
from shortway.core.cancellation import checkpoint
from shortway.core.charts import Step
from shortway.core.settings.prices import MOVE_PRICES, PRICES, VOICING_PRICES
from shortway.core.settings.setting import Setting
from shortway.core.solver.layers import melody_constraint
from shortway.core.solver.problem import PathProblem, Seam
from shortway.core.solver.results import Path, PathStep, PriceItem
from shortway.core.voice_leading.distance import moves_between
from shortway.core.voice_leading.move_costs import (
    NO_CHANGE,
    ChordChange,
    counts_between,
)
from shortway.core.voice_leading.objective import gone_against
from shortway.core.voice_leading.remarks import SILENT, Move, moves, opening, remark
from shortway.core.voicings.candidate_arrays import Candidates
from shortway.core.voicings.melody_constraints import describe_under_melody
from shortway.core.voicings.model import Note, Voicing
from shortway.core.voicings.pricing import voicing_counts


class Transition(NamedTuple):
    """A move: motion of the upper voices and of the bass, prices, each voice, and a remark.

    `cost` is motion and prices, `leap` the semitones of the voice that moves farthest.
    """

    motion: int
    bass: int
    cost: int
    leap: int
    price_items: tuple[PriceItem, ...]
    moves: tuple[Move, ...]
    remark: str


#: A voicing: candidates and the index of one of them.
Placed = tuple[Candidates, int]
_FIRST: Final = Transition(0, 0, 0, 0, (), (), "")


def price_items(
    names: Sequence[str], counts: Iterable[int], prices: Sequence[int]
) -> tuple[PriceItem, ...]:
    """The prices that apply, those of 0 left out."""
    return tuple(
        PriceItem(name, count, count * price)
        for name, count, price in zip(names, counts, prices, strict=True)
        if count and price
    )


@dataclass(frozen=True)
class Solution:
    """A path: the index of a candidate for each layer, and all figures that follow."""

    problem: PathProblem
    indices: tuple[int, ...]

    @cached_property
    def played(self) -> tuple[Voicing, ...]:
        """The voicing of each layer."""
        parts = zip(self.problem.candidates, self.indices, self.problem.layers, strict=True)
        return tuple(of.voicing(at, layer.chord) for of, at, layer in parts)

    @cached_property
    def transitions(self) -> dict[Seam, Transition]:
        """The move over each seam."""
        return {seam: self.transition(*seam) for seam in self.problem.seams}

    def transition(self, a: int, b: int) -> Transition:
        """The move from layer `a` to layer `b`, which may be the same."""
        problem = self.problem
        before, after = problem.candidates[a], problem.candidates[b]
        if not (before.shared and after.shared):
            return self._transition(a, b)
        key = (
            before.number, self.indices[a], problem.layers[a].chord.name,
            after.number, self.indices[b], problem.layers[b].chord.name, self._tariff,
        )  # fmt: skip
        return _TRANSITIONS.get(key) or _TRANSITIONS.recall(key, lambda: self._transition(a, b))

    @cached_property
    def _tariff(self) -> tuple[int, ...]:
        """What moves cost beside their motion."""
        return self.problem.setting.split_cost, *self.problem.setting.move_prices

    def _transition(self, a: int, b: int) -> Transition:
        problem, setting = self.problem, self.problem.setting
        start, end = ((problem.candidates[k], self.indices[k]) for k in (a, b))
        old, new = ((problem.layers[k].chord, self.played[k]) for k in (a, b))
        due = _move_prices(start, end, problem.change(a, b), setting)
        moved = moves(old[1].upper, new[1].upper, setting.split_cost)
        return _of_moves(start, end, setting.split_cost, due, moved, remark(old, new, moved))

    @cached_property
    def prices(self) -> tuple[int, ...]:
        """Semitones of all prices of each layer's voicing."""
        parts = zip(self.problem.costs, self.indices, strict=True)
        return tuple([costs.price.item(at) for costs, at in parts])

    @cached_property
    def voicing_items(self) -> tuple[tuple[PriceItem, ...], ...]:
        """The prices of each layer's voicing."""
        return tuple([self._voicing_items(k) if due else () for k, due in enumerate(self.prices)])

    def _voicing_items(self, k: int) -> tuple[PriceItem, ...]:
        of, at, setting = self.problem.candidates[k], self.indices[k], self.problem.setting
        counts = voicing_counts(of, self.problem.layers[k].wants, setting.home)[:, at]
        return price_items(VOICING_PRICES, counts.tolist(), setting.voicing_prices)

    @cached_property
    def entry(self) -> Transition | None:
        """The move from the notes that sounded before; it has no price."""
        before = self.problem.before
        if before is None or not self.indices:
            return None
        first, split_cost = self.problem.candidates[0], self.problem.setting.split_cost
        sounded = [Note(midi, "", "") for midi in before.midi(0)[int(before.has_bass) :]]
        moved = moves(sounded, self.played[0].upper, split_cost, known=False)
        words = remark(None, (self.problem.layers[0].chord, self.played[0]), moved)
        return _of_moves((before, 0), (first, self.indices[0]), split_cost, (), moved, words)

    @cached_property
    def layer_of(self) -> dict[int, int]:
        """The layer of every step with a voicing, in the order of the steps."""
        found = {step: k for k, layer in enumerate(self.problem.layers) for step in layer.steps}
        return dict(sorted(found.items())) if self.problem.loop else found

    @cached_property
    def all_moves(self) -> list[Transition]:
        """The moves of the whole path."""
        return [*self.transitions.values(), *([self.entry] if self.entry else [])]

    @property
    def motion(self) -> int:
        """Semitones of all upper voices, over the whole path."""
        return sum(move.motion for move in self.all_moves)

    @property
    def cost(self) -> int:
        """Motion and all prices."""
        return self.motion + sum(item.total for item in self.price_items)

    @cached_property
    def price_items(self) -> tuple[PriceItem, ...]:
        """The prices of the whole path, in the order of the table."""
        every = [*self.voicing_items, *(move.price_items for move in self.all_moves)]
        sums = {name: [0, 0] for name in PRICES}
        for item in (item for items in every for item in items):
            sums[item.name][0] += item.count
            sums[item.name][1] += item.total
        return tuple(PriceItem(name, *both) for name, both in sums.items() if both[0])

    def released(self) -> tuple[int, ...]:
        """The steps whose kept notes are not played."""
        if not self.problem.keep:
            return ()
        own = {step: self.played[layer].midi_notes for step, layer in self.layer_of.items()}
        return tuple(sorted(k for k, kept in self.problem.keep.items() if own.get(k) != kept))

    def against(self) -> int | None:
        """Semitones by which the top voice deviates from the top line; None without one."""
        problem, line = self.problem, self.problem.top_line
        if line == "free":
            return None
        tops = [voicing.midi_notes[-1] for voicing in self.played]
        ups = [tops[b] - tops[a] for a, b in problem.seams if not problem.begins_anew(b)]
        if problem.before is not None and tops:
            ups.append(tops[0] - problem.before.midi(0)[-1])
        return int(gone_against(np.array(ups, np.int64), line).sum())


#: Moves between voicings that other requests share; each weighs about 1 kB.
_TRANSITIONS: Final[Memo[tuple[object, ...], Transition]] = Memo(
    "transitions", 28 << 20, lambda _: 900
)


def _of_moves(
    start: Placed,
    end: Placed,
    split_cost: int,
    due: tuple[PriceItem, ...],
    moved: tuple[Move, ...],
    words: str,
) -> Transition:
    (before, i), (after, j) = start, end
    shifts = [abs(move.semitones) for move in moved]
    motion, bass = sum(shifts), 0
    if before.has_bass and after.has_bass:
        bass = abs(before.notes.item(i, 0) - after.notes.item(j, 0))
    if before.sizes.item(i) != after.sizes.item(j):
        motion = int(moves_between(*_alone(start, end), split_cost).motion[0, 0])
    cost = motion + sum([item.total for item in due]) if due else motion
    return Transition(motion, bass, cost, max(shifts), due, moved, words)


def _move_prices(
    start: Placed, end: Placed, change: ChordChange, setting: Setting
) -> tuple[PriceItem, ...]:
    """The prices of a move."""
    (before, i), (after, j) = start, end
    alike = before.voices is not None and before.voices == after.voices
    same_top = before.notes.item(i, -1) == after.notes.item(j, -1)
    if change == NO_CHANGE or (alike and change.fourth is None and not same_top):
        return ()
    if not alike:
        counts = [int(of.sum()) for of in counts_between(*_alone(start, end), change)]
    else:
        counts = _counts(before.midi(i), after.midi(j), change, int(before.has_bass))
    return price_items(MOVE_PRICES, counts, setting.move_prices)


def _counts(old: Sequence[int], new: Sequence[int], change: ChordChange, bass: int) -> list[int]:
    """What `move_costs.counts_alike` counts, of one move."""
    pairs = zip(old[bass:], new[bass:], strict=True)
    unresolved = [a for a, b in pairs if a % 12 == change.fourth and b != a - 1]
    return [int(old == new), int(old[-1] == new[-1]), len(unresolved)]


def _alone(start: Placed, end: Placed) -> tuple[Candidates, Candidates]:
    """Both voicings as the only candidates."""
    (before, i), (after, j) = start, end
    return before.take(np.array([i])), after.take(np.array([j]))


def build_path(solution: Solution) -> Path:
    """The path of a solution as a result."""
    checkpoint()
    problem = solution.problem
    steps = _steps(solution)
    first = next(iter(solution.layer_of), None)
    return Path(
        cost=solution.cost,
        motion=solution.motion,
        bass_motion=sum([move.bass for move in solution.all_moves]),
        loop_motion=None if not problem.loop else 0 if first is None else steps[first].motion,
        start_motion=None if solution.entry is None else solution.entry.motion,
        largest_leap=max([move.leap for move in solution.all_moves], default=0),
        price_items=solution.price_items,
        size=problem.size(),
        setting=problem.setting,
        steps=tuple(steps),
        top_line=solution.against(),
        released=solution.released(),
    )


def _steps(solution: Solution) -> list[PathStep]:
    """The steps; in a loop the last one with a voicing comes before the first."""
    problem, layer_of, found = solution.problem, solution.layer_of, []
    last = next(reversed(layer_of.values()), None) if problem.loop else None
    for step, context in zip(problem.steps, problem.contexts or repeat(None), strict=False):
        layer = layer_of.get(step.number)
        if layer is None:
            found.append(PathStep(step, None, None, (), SILENT, context))
            continue
        into = _into(solution, last, layer)
        due, cost, words, voicing = into.price_items, into.cost, into.remark, solution.played[layer]
        if step.number == problem.layers[layer].steps[0]:
            due = solution.voicing_items[layer] + due
            cost += solution.prices[layer]
        if step.melody:
            words = _under_melody(words, step, voicing, problem.setting.melody)
        found.append(PathStep(step, voicing, into.motion, into.moves, words, context, cost, due))
        last = layer
    return found


def _under_melody(words: str, step: Step, voicing: Voicing, melody: str) -> str:
    """The remark, and where the melody clashes with what is played."""
    clash = describe_under_melody(voicing, melody_constraint(step), step.chord, melody)
    return f"{words}; {clash}" if clash else words


def _into(solution: Solution, last: int | None, layer: int) -> Transition:
    """The move into a layer from the `last`, which may be the same."""
    if last is not None:
        return solution.transitions.get((last, layer)) or solution.transition(last, layer)
    return solution.entry or _FIRST._replace(remark=opening(solution.played[layer]))
