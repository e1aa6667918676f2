"""Onward: the least motion that remains after any voicing whatever, step by step.

Knows searches and motion; no chord. One pass back over the layers gives, for each candidate of a
step, the least motion from it to the end; what remains after notes that were really played is then
one row more. That is what `solve` finds for the rest of the chart when it starts from those notes,
without solving it anew at every step.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.settings.setting import Setting
from shortway.core.solver.problem import PathProblem, refuse_too_large
from shortway.core.voice_leading.distance import moves_between
from shortway.core.voice_leading.objective import from_home
from shortway.core.voicings.model import Candidates, Voicing

Array = NDArray[np.int64]

#: Most transitions of one review.
MAX_TRANSITIONS: Final = 400_000_000
#: Transitions that are weighed at a time.
_AT_ONCE: Final = 1_000_000
#: What a breach of ``repeats`` weighs, which what was played may leave no way round: more than any
#: motion, so that the fewest breaches come first.
_BREACH: Final = 1 << 40


def split_cost(setting: Setting) -> int:
    """What a split or merge costs beside what was played.

    With ``"notes": "free"`` what it costs in a path; else nothing, since a path of one size has
    none, and a forgotten note is told by other means.
    """
    return setting.split_cost if setting.notes is None else 0


@dataclass(frozen=True, slots=True)
class CostToGo:
    """The best continuation from notes that were played.

    Attributes
    ----------
    motion : int
        Semitones to the end of the chart; in a loop to the notes of the first step.
    voicing : Voicing or None
        What comes next on it; None after the last step.
    """

    motion: int
    voicing: Voicing | None


@dataclass(frozen=True, eq=False)
class Remaining:
    """What remains after each sounding step, in playing order.

    Attributes
    ----------
    steps : sequence of int
        The steps that sound.
    nodes : sequence of int
        The node of each.
    played : sequence of Candidates
        What was played there.
    to_go : sequence of int64 arrays, each of shape (candidates,)
        From each candidate of a step's node to the end.
    """

    search: PathProblem
    steps: Sequence[int]
    nodes: Sequence[int]
    played: Sequence[Candidates]
    to_go: Sequence[Array]

    def after(self, k: int) -> CostToGo:
        """The best continuation after what was played at the k-th sounding step.

        A listed voicing is held where the chord is, and left where a repeated chord has to change.
        Of several ways of the least motion the one that the first move prefers: least bass motion,
        squared moves, movement of the top voice, distance from home, lowest notes.
        """
        if k + 1 == len(self.steps):
            return CostToGo(self._closing(self.played[k]), None)
        here, node = self.nodes[k], self.nodes[k + 1]
        layer, setting = self.search.candidates[node], self.search.setting
        same = layer.index_of(self.played[k].midi(0))
        if same is not None and here == node:
            return self._next(k, same, int(self.to_go[k + 1][same]))
        moves = moves_between(self.played[k], layer, split_cost(setting))
        cost = moves.motion[0] + self.to_go[k + 1]
        if same is not None and self.search.must_change(here, node):
            # families may agree on the same notes, each with a row of its own
            cost[(layer.notes == layer.notes[same]).all(axis=1)] += _BREACH
        bass = np.zeros_like(moves.top[0]) if moves.bass is None else moves.bass[0]
        home = from_home(layer, setting.home)
        best = int(np.lexsort((home, moves.top[0], moves.squares[0], bass, cost))[0])
        return self._next(k, best, int(cost[best]))

    def _next(self, k: int, index: int, motion: int) -> CostToGo:
        node = self.nodes[k + 1]
        chord = self.search.layers[node].chord
        return CostToGo(motion % _BREACH, self.search.candidates[node].voicing(index, chord))

    def _closing(self, last: Candidates) -> int:
        if not self.search.loop:
            return 0
        cost = split_cost(self.search.setting)
        return int(moves_between(last, self.played[0], cost).motion[0, 0])


def remaining(search: PathProblem, played: Sequence[tuple[int, Candidates]]) -> Remaining:
    """What remains after each step at which something was played.

    Parameters
    ----------
    played : sequence of (int, Candidates)
        Step and notes, in playing order; one for each step of the search that sounds.

    Raises
    ------
    TooLarge
        If the pass would weigh too much.
    """
    refuse_too_large(search.size().transitions, MAX_TRANSITIONS)
    steps = [step for step, _ in played]
    notes = [of for _, of in played]
    node_of = {step: k for k, node in enumerate(search.layers) for step in node.steps}
    nodes = [node_of[step] for step in steps]
    return Remaining(search, steps, nodes, notes, _to_go(search, nodes, notes))


def _to_go(search: PathProblem, nodes: Sequence[int], notes: Sequence[Candidates]) -> list[Array]:
    if not nodes:
        return []
    to_go = [_ends(search, nodes, notes[0])]
    for k in range(len(nodes) - 2, -1, -1):
        here, there = nodes[k], nodes[k + 1]
        held = here == there
        to_go.append(to_go[-1] if held else _relaxed(search, here, there, to_go[-1]))
    return to_go[::-1]


def _ends(search: PathProblem, nodes: Sequence[int], played: Candidates) -> Array:
    """From the last step's candidates to the end: none, or round to what was `played` first.

    A chord that is held round the end holds that, and one that has to change leaves it.
    """
    last, first = nodes[-1], nodes[0]
    layer = search.candidates[last]
    if not search.loop:
        return np.zeros(len(layer), np.int64)
    motion = moves_between(layer, played, split_cost(search.setting)).motion
    ends = motion[:, 0].astype(np.int64)
    same = layer.index_of(played.midi(0))
    if same is not None and last == first:
        ends += _BREACH
        ends[same] = 0
    elif same is not None and search.must_change(last, first):
        ends[same] += _BREACH
    return ends


def _relaxed(search: PathProblem, here: int, there: int, ahead: Array) -> Array:
    """The least motion over all transitions from node `here` to node `there` and on."""
    parts = [np.minimum.reduce(motion + ahead, axis=1) for motion in _motions(search, here, there)]
    return np.concatenate(parts)


def _motions(search: PathProblem, here: int, there: int) -> Iterator[Array]:
    """The motion of all transitions, some rows at a time; each breach of ``repeats`` added."""
    before, after = search.candidates[here], search.candidates[there]
    changes = search.must_change(here, there)
    if len(before) * len(after) <= _AT_ONCE:
        yield _motion(before, after, search.moves(here, there).motion, changes)
        return
    rows = max(1, _AT_ONCE // len(after))
    for start in range(0, len(before), rows):
        part = before.take(np.arange(start, min(start + rows, len(before))))
        moved = moves_between(part, after, search.setting.split_cost).motion
        yield _motion(part, after, moved, changes)


def _motion(
    before: Candidates, after: Candidates, motion: NDArray[np.int32], changes: bool
) -> Array:
    wide: Array = motion.astype(np.int64)
    if changes:
        wide[(before.notes[:, None, :] == after.notes[None, :, :]).all(axis=2)] += _BREACH
    return wide
