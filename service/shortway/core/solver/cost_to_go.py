"""Cost to go: the least cost that remains after any voicing whatever, step by step.

Knows problems and move costs. One pass back over the layers gives, for each candidate of a step,
the least cost from it to the end; what remains after notes that were really played is then one row
more, without solving the rest of the chart anew at every step.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.settings.setting import Setting
from shortway.core.solver.problem import PathProblem, refuse_too_large
from shortway.core.voice_leading.distance import moves_between
from shortway.core.voice_leading.move_costs import NO_CHANGE, ChordChange, move_costs
from shortway.core.voice_leading.objective import voicing_costs
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
    cost : int
        Motion and prices to the end of the chart; in a loop to the notes of the first step.
    voicing : Voicing or None
        What comes next on it; None after the last step.
    """

    cost: int
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
        Of several ways of the least cost the one that the first move prefers: least bass motion,
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
        own, change = self.search.costs[node], _change(self.search, here, node)
        paid = move_costs(self.played[k], layer, split_cost(setting), change)[0]
        cost = paid + own.price + self.to_go[k + 1]
        if same is not None and self.search.must_change(here, node):
            # families may agree on the same notes, each with a row of its own
            cost[(layer.notes == layer.notes[same]).all(axis=1)] += _BREACH
        bass = np.zeros_like(moves.top[0]) if moves.bass is None else moves.bass[0]
        keys = (own.home, moves.top[0], moves.squares[0], bass, own.lacking, moves.motion[0], cost)
        best = int(np.lexsort(keys)[0])
        return self._next(k, best, int(cost[best]))

    def _next(self, k: int, index: int, cost: int) -> CostToGo:
        node = self.nodes[k + 1]
        chord = self.search.layers[node].chord
        return CostToGo(cost % _BREACH, self.search.candidates[node].voicing(index, chord))

    def _closing(self, last: Candidates) -> int:
        if not self.search.loop:
            return 0
        change = _change(self.search, self.nodes[-1], self.nodes[0])
        split = split_cost(self.search.setting)
        return int(move_costs(last, self.played[0], split, change)[0, 0])


def price_of(search: PathProblem, node: int, played: Candidates) -> int:
    """The price of notes that were played, as of a voicing of layer `node`, listed or not."""
    layer = search.candidates[node]
    same = layer.index_of(played.midi(0))
    if same is not None:
        return int(search.costs[node].price[same])
    of, setting = search.layers[node], search.setting
    heard = replace(played, available=layer.available, root=layer.root)
    return int(voicing_costs(heard, setting, of.offered(setting), of.wants).price[0])


def cost_between(
    search: PathProblem, here: int, there: int, before: Candidates, after: Candidates
) -> int:
    """Motion and prices of the move between notes that were played at two layers."""
    split, change = split_cost(search.setting), _change(search, here, there)
    return int(move_costs(before, after, split, change)[0, 0])


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
    paid = move_costs(layer, played, split_cost(search.setting), _change(search, last, first))
    ends = paid[:, 0].astype(np.int64)
    same = layer.index_of(played.midi(0))
    if same is not None and last == first:
        ends += _BREACH
        ends[same] = 0
    elif same is not None and search.must_change(last, first):
        ends[same] += _BREACH
    return ends


def _relaxed(search: PathProblem, here: int, there: int, ahead: Array) -> Array:
    """The least cost over all transitions from layer `here` to layer `there` and on."""
    ahead = ahead + search.costs[there].price
    parts = [np.minimum.reduce(cost + ahead, axis=1) for cost in _costs(search, here, there)]
    return np.concatenate(parts)


def _change(search: PathProblem, here: int, there: int) -> ChordChange:
    return NO_CHANGE if here == there else search.change(here, there)


def _costs(search: PathProblem, here: int, there: int) -> Iterator[Array]:
    """The cost of all transitions, some rows at a time; each breach of ``repeats`` added."""
    before, after = search.candidates[here], search.candidates[there]
    changes = search.must_change(here, there)
    if len(before) * len(after) <= _AT_ONCE:
        yield _wide(before, after, search.move_costs(here, there), changes)
        return
    rows = max(1, _AT_ONCE // len(after))
    for start in range(0, len(before), rows):
        part = before.take(np.arange(start, min(start + rows, len(before))))
        paid = move_costs(part, after, search.setting.split_cost, search.change(here, there))
        yield _wide(part, after, paid, changes)


def _wide(before: Candidates, after: Candidates, costs: NDArray[np.int32], changes: bool) -> Array:
    wide: Array = costs.astype(np.int64)
    if changes:
        wide[(before.notes[:, None, :] == after.notes[None, :, :]).all(axis=2)] += _BREACH
    return wide
