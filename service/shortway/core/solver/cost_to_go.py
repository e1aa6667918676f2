"""Cost to go: the least cost from any voicing to the end of the chart, step by step.

Knows problems and move costs. One backward pass over the layers gives, for each candidate of a
step, the least cost from it to the end; the cost after played notes then takes one more row of
moves, not another solve.
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
from shortway.core.voice_leading.move_costs import (
    NO_CHANGE,
    ChordChange,
    counts_between,
    move_costs,
)
from shortway.core.voice_leading.objective import voicing_costs
from shortway.core.voicings.candidate_arrays import Candidates
from shortway.core.voicings.model import Voicing

Array = NDArray[np.int64]
Index = NDArray[np.intp]

#: Most transitions of one review.
MAX_TRANSITIONS: Final = 400_000_000
#: Most transitions whose costs are computed at a time.
_AT_ONCE: Final = 1_000_000
#: Cost of a violation of ``repeats``, which played notes may make unavoidable: more than any
#: motion, so that the fewest violations come first.
_VIOLATION: Final = 1 << 40


def split_cost(setting: Setting) -> int:
    """The price of a split or merge in moves between played notes.

    Where notes vary, the price it has in a path; else 0, since a path with a fixed number of
    notes has none, and a forgotten note is reported separately.
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
        The next voicing; None after the last step.
    """

    cost: int
    voicing: Voicing | None


@dataclass(frozen=True, eq=False)
class Remaining:
    """The cost to go after each step with a voicing, in playing order.

    Attributes
    ----------
    steps : sequence of int
    layers : sequence of int
        The layer of each step.
    played : sequence of Candidates
        The notes played there.
    rows : sequence of int or None
        Which candidate of the layer they are.
    to_go : sequence of int64 arrays, each of shape (candidates,)
        From each candidate of a step's layer to the end.
    """

    problem: PathProblem
    steps: Sequence[int]
    layers: Sequence[int]
    played: Sequence[Candidates]
    rows: Sequence[int | None]
    to_go: Sequence[Array]

    def after(self, k: int) -> CostToGo:
        """The best continuation after the notes played at the k-th of `steps`.

        A listed voicing is held where the chord is held, and changed where a repeated chord has to
        change. Of several continuations of least cost the first move decides: least bass motion,
        squared moves, movement of the top voice, distance from home, lowest notes.
        """
        if k + 1 == len(self.steps):
            return CostToGo(self._closing(self.played[k]), None)
        here, there, row = self.layers[k], self.layers[k + 1], self.rows[k]
        if here == there and row is not None:
            return self._next(k, row, int(self.to_go[k + 1][row]))
        layer = self.problem.candidates[there]
        cost = self._paid(k) + self.problem.costs[there].price + self.to_go[k + 1]
        if self.problem.must_change(here, there):
            # several families may have the same notes, each in a row of its own
            cost[layer.playing(self.played[k].midi(0))] += _VIOLATION
        least = np.flatnonzero(cost == cost.min())
        best = int(least[0]) if len(least) == 1 else self._preferred(k, least)
        return self._next(k, best, int(cost[best]))

    def _paid(self, k: int) -> NDArray[np.int32]:
        """The cost of the moves from the notes played to each candidate of the next layer."""
        here, there, row, problem = self.layers[k], self.layers[k + 1], self.rows[k], self.problem
        of = problem.candidates
        if row is not None and len(of[here]) * len(of[there]) <= _AT_ONCE:
            return np.asarray(problem.move_costs(here, there)[row])
        change = _change(problem, here, there)
        paid = move_costs(self.played[k], of[there], split_cost(problem.setting), change)
        return np.asarray(paid[0])

    def _preferred(self, k: int, rows: Index) -> int:
        """The one of some candidates of the next layer to which the first move is preferred."""
        there = self.layers[k + 1]
        own, layer = self.problem.costs[there], self.problem.candidates[there].take(rows)
        moves = moves_between(self.played[k], layer, split_cost(self.problem.setting))
        bass = np.zeros(len(rows)) if moves.bass is None else moves.bass[0]
        keys = (own.home[rows], moves.top[0], moves.squares[0], bass, own.lacking[rows],
                moves.motion[0])  # fmt: skip
        return int(rows[np.lexsort(keys)[0]])

    def _next(self, k: int, index: int, cost: int) -> CostToGo:
        there = self.layers[k + 1]
        chord = self.problem.layers[there].chord
        return CostToGo(cost % _VIOLATION, self.problem.candidates[there].voicing(index, chord))

    def _closing(self, last: Candidates) -> int:
        if not self.problem.loop:
            return 0
        change = _change(self.problem, self.layers[-1], self.layers[0])
        split = split_cost(self.problem.setting)
        return int(move_costs(last, self.played[0], split, change)[0, 0])


def price_of(problem: PathProblem, at: int, played: Candidates, row: int | None) -> int:
    """The price of played notes as a voicing of the layer `at`: its candidate `row`, or none."""
    if row is not None:
        return int(problem.costs[at].price[row])
    layer, of, setting = problem.candidates[at], problem.layers[at], problem.setting
    voicing = replace(played, available=layer.available, root=layer.root)
    return int(voicing_costs(voicing, setting, of.offered(setting), of.wants).price[0])


def move_price(
    problem: PathProblem, here: int, there: int, before: Candidates, after: Candidates
) -> int:
    """The prices of the move between notes played at two layers, without its motion."""
    change, held = _change(problem, here, there), before.notes[0, -1] == after.notes[0, -1]
    if change == NO_CHANGE or not (held or change.fourth is not None):
        return 0
    return int(change.price(counts_between(before, after, change))[0, 0])


def remaining(
    problem: PathProblem, played: Sequence[tuple[int, Candidates]], rows: Sequence[int | None]
) -> Remaining:
    """The cost to go after each step at which notes were played.

    Parameters
    ----------
    played : sequence of (int, Candidates)
        Step and notes, in playing order; one for each step with a voicing.
    rows : sequence of int or None
        Which candidate of their layer they are, None for notes that no family lists.

    Raises
    ------
    TooLarge
        If the problem has more than `MAX_TRANSITIONS` transitions.
    """
    refuse_too_large(problem.size().transitions, MAX_TRANSITIONS)
    steps = [step for step, _ in played]
    notes = [of for _, of in played]
    layer_of = {step: k for k, layer in enumerate(problem.layers) for step in layer.steps}
    layers = [layer_of[step] for step in steps]
    return Remaining(problem, steps, layers, notes, rows, _to_go(problem, layers, notes))


def _to_go(problem: PathProblem, layers: Sequence[int], notes: Sequence[Candidates]) -> list[Array]:
    if not layers:
        return []
    to_go = [_ends(problem, layers, notes[0])]
    for k in range(len(layers) - 2, -1, -1):
        here, there = layers[k], layers[k + 1]
        held = here == there
        to_go.append(to_go[-1] if held else _relaxed(problem, here, there, to_go[-1]))
    return to_go[::-1]


def _ends(problem: PathProblem, layers: Sequence[int], played: Candidates) -> Array:
    """The cost after the last step's candidates: 0, or in a loop the move back.

    A chord that is held over the end keeps the voicing that was `played` first; one that has to
    change takes another.
    """
    last, first = layers[-1], layers[0]
    layer = problem.candidates[last]
    if not problem.loop:
        return np.zeros(len(layer), np.int64)
    paid = move_costs(layer, played, split_cost(problem.setting), _change(problem, last, first))
    ends = paid[:, 0].astype(np.int64)
    same = layer.index_of(played.midi(0))
    if same is not None and last == first:
        ends += _VIOLATION
        ends[same] = 0
    elif same is not None and problem.must_change(last, first):
        ends[same] += _VIOLATION
    return ends


def _relaxed(problem: PathProblem, here: int, there: int, ahead: Array) -> Array:
    """The least cost over all transitions from layer `here` to layer `there` and on."""
    ahead = ahead + problem.costs[there].price
    parts = [np.minimum.reduce(cost + ahead, axis=1) for cost in _costs(problem, here, there)]
    return np.concatenate(parts)


def _change(problem: PathProblem, here: int, there: int) -> ChordChange:
    return NO_CHANGE if here == there else problem.change(here, there)


def _costs(problem: PathProblem, here: int, there: int) -> Iterator[Array]:
    """The cost of all transitions, some rows at a time; violations of ``repeats`` included."""
    before, after = problem.candidates[here], problem.candidates[there]
    changes = problem.must_change(here, there)
    if len(before) * len(after) <= _AT_ONCE:
        yield _wide(before, after, problem.move_costs(here, there), changes)
        return
    rows = max(1, _AT_ONCE // len(after))
    for start in range(0, len(before), rows):
        part = before.take(np.arange(start, min(start + rows, len(before))))
        paid = move_costs(part, after, problem.setting.split_cost, problem.change(here, there))
        yield _wide(part, after, paid, changes)


def _wide(before: Candidates, after: Candidates, costs: NDArray[np.int32], changes: bool) -> Array:
    wide: Array = costs.astype(np.int64)
    if changes:
        wide[(before.notes[:, None, :] == after.notes[None, :, :]).all(axis=2)] += _VIOLATION
    return wide
