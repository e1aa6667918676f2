"""Report: a path through the layers as a result, step by step.

Knows problems and arrivals.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import chain, pairwise, repeat

import numpy as np

from shortway.core.cancellation import checkpoint
from shortway.core.charts import Step
from shortway.core.settings.prices import PRICES
from shortway.core.solver import arrivals
from shortway.core.solver.arrivals import ARRIVALS, PLAYED, Key, Played
from shortway.core.solver.layers import melody_constraint
from shortway.core.solver.problem import PathProblem
from shortway.core.solver.results import Arrival, Choice, Path, PathStep, PriceItem, PriceItems
from shortway.core.voice_leading.move_costs import NO_CHANGE
from shortway.core.voice_leading.objective import gone_against
from shortway.core.voicings.melody_constraints import describe_under_melody


def _shared(key: Key, make: Callable[[], Arrival]) -> Arrival:
    """What `make` makes of voicings with the numbers in `key`; held where others share them."""
    return make() if 0 in key else ARRIVALS.recall(key, make)


@dataclass(frozen=True)
class Solution:
    """A path: the index of a candidate for each layer, and all figures that follow."""

    problem: PathProblem
    indices: tuple[int, ...]

    @cached_property
    def played(self) -> list[Played]:
        """The voicing of each layer."""
        numbers = [of.number for of in self.problem.priced]
        return PLAYED.each(zip(numbers, self.indices, strict=True), self._played)

    def _played(self, k: int) -> Played:
        of, at, layer = self.problem.priced[k], self.indices[k], self.problem.layers[k]
        make = partial(arrivals.played, of.candidates, at, layer, self.problem.setting)
        return PLAYED.recall((of.number, at), make) if of.number else make()

    @cached_property
    def arrivals(self) -> list[Arrival]:
        """The way into each layer; in a loop the last leads to the first."""
        if not self.indices:
            return []
        keys = pairwise([of.number for of in self.played])
        further = ARRIVALS.each(keys, lambda k: self._arrival(k, k + 1))
        first = self._arrival(len(further), 0) if self.problem.loop else self._opening()
        return [first, *further]

    def _arrival(self, a: int, b: int) -> Arrival:
        """The way from layer `a` to layer `b`, which is the same in a loop of one."""
        old, new, change = self.played[a], self.played[b], NO_CHANGE
        if old.midi[-1] == new.midi[-1] or old.root == new.root:
            change = self.problem.change(a, b)  # else nothing has a price
        make = partial(arrivals.moved, old, new, change, self.problem.setting)
        return _shared((old.number, new.number), make)

    def _opening(self) -> Arrival:
        new = self.played[0]
        return self.entry or _shared((new.number, "opened"), partial(arrivals.opened, new))

    def held(self, k: int) -> Arrival:
        """The way into a further step of layer `k`."""
        new = self.played[k]
        return _shared((new.number, "held"), partial(arrivals.held, new))

    @cached_property
    def entry(self) -> Arrival | None:
        """The way from the notes that sounded before."""
        before = self.problem.before
        if before is None or not self.indices:
            return None
        old = arrivals.sounded(before)
        return arrivals.moved(old, self.played[0], NO_CHANGE, self.problem.setting)

    @cached_property
    def layer_of(self) -> dict[int, int]:
        """The layer of every step with a voicing, in the order of the steps."""
        found = {step: k for k, layer in enumerate(self.problem.layers) for step in layer.steps}
        return dict(sorted(found.items())) if self.problem.loop else found

    @property
    def motion(self) -> int:
        """Semitones of all upper voices, over the whole path."""
        return sum([arrival.motion for arrival in self.all_arrivals])

    @cached_property
    def all_arrivals(self) -> list[Arrival]:
        """Those into all layers; in a loop, into the first one from the notes before, too."""
        if not (self.problem.loop and self.entry):
            return self.arrivals
        once = replace(self.entry, cost=self.entry.motion, price_items=())
        return [once, *self.arrivals]

    def released(self) -> tuple[int, ...]:
        """The steps whose kept notes are not played."""
        if not self.problem.keep:
            return ()
        own = {step: self.played[k].voicing.midi_notes for step, k in self.layer_of.items()}
        return tuple(sorted(k for k, kept in self.problem.keep.items() if own.get(k) != kept))

    def against(self) -> int | None:
        """Semitones by which the top voice deviates from the top line; None without one."""
        problem, line = self.problem, self.problem.top_line
        if line == "free":
            return None
        tops = [played.midi[-1] for played in self.played]
        ups = [tops[b] - tops[a] for a, b in problem.seams if not problem.begins_anew(b)]
        if problem.before is not None and tops:
            ups.append(tops[0] - problem.before.midi(0)[-1])
        return int(gone_against(np.array(ups, np.int64), line).sum())


def build_path(
    solution: Solution,
    *,
    alternatives: tuple[Path, ...] = (),
    choices: tuple[Choice, ...] = (),
    least_motion: int | None = None,
) -> Path:
    """The path of a solution as a result, with what else is asked of it."""
    checkpoint()
    problem, moves, steps = solution.problem, solution.all_arrivals, _steps(solution)
    return Path(
        cost=sum([move.cost for move in moves]),
        motion=sum([move.motion for move in moves]),
        bass_motion=sum([move.bass_motion for move in moves]),
        loop_motion=_first_motion(steps) if problem.loop else None,
        start_motion=solution.entry.motion if solution.entry else None,
        largest_leap=max([move.largest_leap for move in moves], default=0),
        price_items=_totals(moves),
        size=problem.size(),
        setting=problem.setting,
        steps=steps,
        alternatives=alternatives,
        least_motion=least_motion,
        top_line=solution.against(),
        released=solution.released(),
        choices=choices,
    )


def _first_motion(steps: Sequence[PathStep]) -> int:
    return next((step.arrival.motion for step in steps if step.arrival), 0)


def _totals(moves: Sequence[Arrival]) -> PriceItems:
    """All prices together, in the order of the table."""
    sums = dict.fromkeys(PRICES, (0, 0))
    for item, times in Counter(chain.from_iterable([move.price_items for move in moves])).items():
        count, total = sums[item.name]
        sums[item.name] = count + times * item.count, total + times * item.total
    return tuple([PriceItem(name, *both) for name, both in sums.items() if both[0]])


def _steps(solution: Solution) -> tuple[PathStep, ...]:
    problem = solution.problem
    found: list[Arrival | None] = [None] * len(problem.steps)
    for k, (layer, arrival) in enumerate(zip(problem.layers, solution.arrivals, strict=True)):
        steps = layer.steps
        found[steps[0]] = arrival
        if len(steps) > 1:
            for number in steps[1:]:
                found[number] = solution.held(k)
    for step in problem.steps:
        if step.melody:
            found[step.number] = _sung(found[step.number], step, problem.setting.melody)
    fields = zip(problem.steps, found, problem.contexts or repeat(None), strict=False)
    return tuple(map(tuple.__new__, repeat(PathStep), fields))


def _sung(arrival: Arrival | None, step: Step, how: str) -> Arrival | None:
    """The same with a remark of where the melody clashes with what is played."""
    if arrival is None:
        return None
    clash = describe_under_melody(arrival.voicing, melody_constraint(step), step.chord, how)
    return replace(arrival, remark=f"{arrival.remark}; {clash}") if clash else arrival
