"""Telling: a way through the nodes, told step by step.

Knows nodes, voicings and remarks; decides nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from shortway.core.cancellation import checkpoint
from shortway.core.charts import Step
from shortway.core.harmony.context import Context
from shortway.core.settings.setting import Setting
from shortway.core.solver.layers import Layer, melody_constraint
from shortway.core.solver.results import Path, PathStep, Size
from shortway.core.voice_leading.remarks import SILENT, Move, moves, opening, remark
from shortway.core.voicings.melody_constraints import describe_under_melody
from shortway.core.voicings.model import Note, Voicing


@dataclass(frozen=True)
class Solution:
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
    nodes: Sequence[Layer]
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


def build_path(trip: Solution) -> Path:
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


def _step(trip: Solution, index: int) -> PathStep:
    """A step; the remark says where its melody clashes with what is played."""
    checkpoint()
    step, node = trip.steps[index], trip.node_of.get(index)
    context = trip.contexts[index] if trip.contexts else None
    if node is None:
        return PathStep(step, None, None, (), SILENT, context)
    voicing = trip.played[node]
    motion, moved, words = _into(trip, index, node)
    rub = describe_under_melody(voicing, melody_constraint(step), step.chord, trip.setting.melody)
    return PathStep(step, voicing, motion, moved, f"{words}; {rub}" if rub else words, context)


def _into(trip: Solution, index: int, node: int) -> tuple[int, tuple[Move, ...], str]:
    """What leads into a step that sounds: the motion, the moves, and the remark."""
    after = trip.steps[index].chord, trip.played[node]
    last = trip.step_before.get(index)
    if last is not None:
        come_from = trip.node_of[last]
        motion = 0 if come_from == node else trip.motion[come_from, node]
        before = trip.played[come_from]
        moved = moves(before.upper, after[1].upper, trip.setting.split_cost)
        return motion, moved, remark((trip.steps[last].chord, before), after, moved)
    if trip.start is None:
        return 0, (), opening(after[1])
    return trip.start, trip.entry, remark(None, after, trip.entry)
