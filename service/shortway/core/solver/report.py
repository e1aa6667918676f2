"""Report: a path through the layers as a result, step by step.

Knows problems, voicings and remarks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np

from shortway.core.cache import Cache
from shortway.core.cancellation import checkpoint
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
from shortway.core.voicings.melody_constraints import describe_under_melody
from shortway.core.voicings.model import Candidates, Note, Voicing
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


def _of_moves(
    motion: int, bass: int, due: tuple[PriceItem, ...], moved: tuple[Move, ...], words: str
) -> Transition:
    cost = motion + sum([item.total for item in due])
    leap = max([abs(move.semitones) for move in moved], default=0)
    return Transition(motion, bass, cost, leap, due, moved, words)


#: A voicing: candidates and the index of one of them.
Placed = tuple[Candidates, int]


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
        chords = problem.layers[a].chord, problem.layers[b].chord
        setting = problem.setting
        key = (
            before.number, self.indices[a], chords[0].name,
            after.number, self.indices[b], chords[1].name,
            setting.split_cost, setting.move_prices,
        )  # fmt: skip
        if before.shared and after.shared:
            return _TRANSITIONS.get(key, lambda: self._transition(a, b))
        return self._transition(a, b)

    def _transition(self, a: int, b: int) -> Transition:
        problem, setting = self.problem, self.problem.setting
        start, end = ((problem.candidates[k], self.indices[k]) for k in (a, b))
        old, new = ((problem.layers[k].chord, self.played[k]) for k in (a, b))
        due = _move_prices(start, end, problem.change(a, b), setting)
        moved = moves(old[1].upper, new[1].upper, setting.split_cost)
        figures = _figures(start, end, setting.split_cost, moved)
        return _of_moves(*figures, due, moved, remark(old, new, moved))

    @cached_property
    def voicing_items(self) -> tuple[tuple[PriceItem, ...], ...]:
        """The prices of each layer's voicing."""
        return tuple(map(self._voicing_items, range(len(self.indices))))

    def _voicing_items(self, k: int) -> tuple[PriceItem, ...]:
        of, at, setting = self.problem.candidates[k], self.indices[k], self.problem.setting
        if not self.problem.costs[k].price[at]:
            return ()
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
        figures = _figures((before, 0), (first, self.indices[0]), split_cost, moved)
        after = self.problem.layers[0].chord, self.played[0]
        return _of_moves(*figures, (), moved, remark(None, after, moved))

    @cached_property
    def layer_of(self) -> dict[int, int]:
        """The layer of every step with a voicing, in the order of the steps."""
        found = {step: k for k, layer in enumerate(self.problem.layers) for step in layer.steps}
        return dict(sorted(found.items())) if self.problem.loop else found

    @cached_property
    def step_before(self) -> dict[int, int]:
        """The step before each; in a loop the last one comes before the first."""
        order = list(self.layer_of)
        before = {b: a for a, b in pairwise(order)}
        return {**before, order[0]: order[-1]} if self.problem.loop and order else before

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
_TRANSITIONS: Final[Cache[tuple[object, ...], Transition]] = Cache(
    "transitions", 16 << 20, lambda _: 900
)


def _figures(start: Placed, end: Placed, split_cost: int, moved: Sequence[Move]) -> tuple[int, int]:
    """Motion of the upper voices and of the bass."""
    (before, i), (after, j) = start, end
    bass = 0
    if before.has_bass and after.has_bass:
        bass = abs(before.notes.item(i, 0) - after.notes.item(j, 0))
    if before.sizes.item(i) == after.sizes.item(j):
        return sum([abs(move.semitones) for move in moved]), bass
    return int(moves_between(*_alone(start, end), split_cost).motion[0, 0]), bass


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
    problem = solution.problem
    steps = tuple(_step(solution, index) for index in range(len(problem.steps)))
    first = next(iter(solution.layer_of), None)
    return Path(
        cost=solution.cost,
        motion=solution.motion,
        bass_motion=sum(move.bass for move in solution.all_moves),
        loop_motion=None if not problem.loop else 0 if first is None else steps[first].motion,
        start_motion=None if solution.entry is None else solution.entry.motion,
        largest_leap=max([move.leap for move in solution.all_moves], default=0),
        price_items=solution.price_items,
        size=problem.size(),
        setting=problem.setting,
        steps=steps,
        top_line=solution.against(),
        released=solution.released(),
    )


def _step(solution: Solution, index: int) -> PathStep:
    """A step; the remark says where its melody clashes with what is played."""
    checkpoint()
    problem = solution.problem
    step, layer = problem.steps[index], solution.layer_of.get(index)
    context = problem.contexts[index] if problem.contexts else None
    if layer is None:
        return PathStep(step, None, None, (), SILENT, context)
    voicing = solution.played[layer]
    into = _into(solution, index, layer)
    due, cost, words = into.price_items, into.cost, into.remark
    if index == problem.layers[layer].steps[0]:
        due = solution.voicing_items[layer] + due
        cost += problem.costs[layer].price.item(solution.indices[layer])
    if step.melody:
        clash = describe_under_melody(
            voicing, melody_constraint(step), step.chord, problem.setting.melody
        )
        words = f"{words}; {clash}" if clash else words
    return PathStep(step, voicing, into.motion, into.moves, words, context, cost, due)


def _into(solution: Solution, index: int, layer: int) -> Transition:
    """The move into a step with a voicing."""
    last = solution.step_before.get(index)
    if last is not None:
        source = solution.layer_of[last]
        known = solution.transitions.get((source, layer))
        return known or solution.transition(source, layer)
    return solution.entry or _of_moves(0, 0, (), (), opening(solution.played[layer]))
