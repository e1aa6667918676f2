"""Telling: a way through the nodes, told step by step.

Knows nodes, voicings and remarks; decides nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

from shortway.core.answers import Path, PathStep, Size
from shortway.core.chart import Step
from shortway.core.functions import Context
from shortway.core.melody import rubs
from shortway.core.nodes import Node
from shortway.core.remarks import SILENT, Move, moves, opening, remark
from shortway.core.setting import Setting
from shortway.core.voicing import Note, Voicing


@dataclass(frozen=True)
class Trip:
    """What was found: a voicing for each node and the figures between them.

    Attributes
    ----------
    motion : mapping of (int, int) to int
        Semitones from a node to the next.
    before : tuple of int
        The upper notes that sounded before the first step; `start` is the motion from them.
    bass : int
        Motion of the bass over the whole trip.
    top_line : int or None
        Semitones by which the top voice goes against what was asked of it.
    """

    steps: Sequence[Step]
    nodes: Sequence[Node]
    played: Sequence[Voicing]
    motion: Mapping[tuple[int, int], int]
    before: tuple[int, ...]
    start: int | None
    bass: int
    loop: bool
    setting: Setting
    size: Size
    top_line: int | None = None
    contexts: Sequence[Context | None] = ()

    @cached_property
    def node_of(self) -> dict[int, int]:
        """The node of every step that sounds, in the order of the steps."""
        pairs = ((step, k) for k, node in enumerate(self.nodes) for step in node.steps)
        return dict(sorted(pairs))

    @cached_property
    def step_before(self) -> dict[int, int]:
        """The step that leads into each; in a loop the last one leads into the first."""
        order = list(self.node_of)
        before = {b: a for a, b in pairwise(order)}
        return {**before, order[0]: order[-1]} if self.loop and order else before

    @cached_property
    def entry(self) -> tuple[Move, ...]:
        """How the voices move from the notes that sounded before."""
        if self.start is None:
            return ()
        sounded = [Note(midi, "", "") for midi in self.before]
        return moves(sounded, self.played[0].upper, self.setting.split_cost, known=False)


def told(trip: Trip) -> Path:
    """The path as an answer."""
    steps = tuple(_step(trip, index) for index in range(len(trip.steps)))
    leaps = [abs(move.semitones) for step in steps for move in step.moves]
    leaps += [abs(move.semitones) for move in trip.entry]
    first = next(iter(trip.node_of), None)
    return Path(
        total=sum(trip.motion.values()) + (trip.start or 0),
        loop=None if not trip.loop else 0 if first is None else steps[first].motion,
        start=trip.start,
        bass=trip.bass,
        largest_leap=max(leaps, default=0),
        size=trip.size,
        setting=trip.setting,
        steps=steps,
        top_line=trip.top_line,
    )


def _step(trip: Trip, index: int) -> PathStep:
    """A step with its context; the remark says where its melody clashes with what is played."""
    told_ = _plain_step(trip, index)
    if trip.contexts:
        told_ = replace(told_, context=trip.contexts[index])
    step, voicing = told_.step, told_.voicing
    if voicing is None or not step.melody or trip.setting.melody == "ignore":
        return told_
    if trip.setting.melody == "carry" and voicing.midi[-1] in step.melody:
        return told_
    rub = rubs(voicing, step.melody, step.chord)
    return replace(told_, remark=f"{told_.remark}; {rub}") if rub else told_


def _plain_step(trip: Trip, index: int) -> PathStep:
    step = trip.steps[index]
    node = trip.node_of.get(index)
    if node is None:
        return PathStep(step, None, None, (), SILENT)
    voicing = trip.played[node]
    if index not in trip.step_before:
        return _first(trip, step, voicing)
    last = trip.step_before[index]
    come_from = trip.node_of[last]
    motion = 0 if come_from == node else trip.motion[come_from, node]
    before = trip.played[come_from]
    moved = moves(before.upper, voicing.upper, trip.setting.split_cost)
    words = remark((trip.steps[last].chord, before), (step.chord, voicing), moved)
    return PathStep(step, voicing, motion, moved, words)


def _first(trip: Trip, step: Step, voicing: Voicing) -> PathStep:
    """The first step of an open path: nothing leads into it but what sounded before."""
    if trip.start is None:
        return PathStep(step, voicing, 0, (), opening(voicing))
    words = remark(None, (step.chord, voicing), trip.entry)
    return PathStep(step, voicing, trip.start, trip.entry, words)
