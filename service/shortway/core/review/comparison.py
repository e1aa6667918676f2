"""Comparison: what was played beside the best path, step by step.

Knows searches, heard notes and findings. The way between what was played is counted as a path's
is: upper notes voice by voice, unlike numbers by least assignment.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

from shortway.core.cancellation import checkpoint
from shortway.core.review.findings import Finding, VoicingContext, make_finding
from shortway.core.review.input import Played
from shortway.core.review.note_naming import NamedNote, name_notes
from shortway.core.review.results import Hands, Review, StepReview
from shortway.core.review.rules import check_voicing, split
from shortway.core.review.strengths import find_strengths
from shortway.core.review.timing import find_timing
from shortway.core.settings.keyboard import distance_mm
from shortway.core.settings.setting import Setting
from shortway.core.solver.cost_to_go import CostToGo, cost_between, price_of, remaining, split_cost
from shortway.core.solver.layers import melody_constraint
from shortway.core.solver.pins import Pin
from shortway.core.solver.problem import PathProblem
from shortway.core.solver.results import Path
from shortway.core.voice_leading.distance import least_assignment, moves_between
from shortway.core.voice_leading.moves import Move, voices_between
from shortway.core.voicings.candidate_arrays import Candidates, sounding
from shortway.core.voicings.model import Form, Voicing


@dataclass(frozen=True)
class Comparison:
    """A search through the steps that were played, what was played, and the best path."""

    search: PathProblem
    played: Played
    best: Path
    pins: tuple[Pin, ...]
    timing: Sequence[Fraction | None] = ()

    @cached_property
    def sounding(self) -> dict[int, Candidates]:
        """What was played at each step that sounds, as `solve` takes notes that sound."""
        has_bass = not self.search.setting.bass_player
        return {
            step: sounding(self.played[step], has_bass=has_bass)
            for step in sorted(step for node in self.search.layers for step in node.steps)
        }

    @cached_property
    def layer_of(self) -> dict[int, Candidates]:
        """The candidates of each step that sounds."""
        pairs = zip(self.search.layers, self.search.candidates, strict=True)
        return {step: layer for node, layer in pairs for step in node.steps}

    @cached_property
    def notes(self) -> list[tuple[NamedNote, ...]]:
        """The notes of every step, named."""
        has_bass = not self.search.setting.bass_player
        return [
            name_notes(
                step.chord,
                self.layer_of[k].available if k in self.layer_of else None,
                self.played[k],
                has_bass=has_bass,
            )
            for k, step in enumerate(self.search.steps)
        ]

    @cached_property
    def before(self) -> dict[int, int]:
        """The step that leads into each; in a loop the last leads into the first."""
        order = list(self.sounding)
        led = {after: before for before, after in pairwise(order)}
        return {**led, order[0]: order[-1]} if order and self.search.loop else led

    @cached_property
    def moved(self) -> dict[int, tuple[int, int]]:
        """Motion and bass motion into each step that something leads into."""
        cost = split_cost(self.search.setting)
        return {
            after: _moved(self.sounding[before], self.sounding[after], cost)
            for after, before in self.before.items()
        }

    @cached_property
    def paid(self) -> dict[int, tuple[int, int]]:
        """Cost of the move into each step that sounds, and the price of what was played there.

        Notes that are held while their chord lasts are paid for once, and where a loop holds them
        all the time at its first step.
        """
        node_of = {step: k for k, of in enumerate(self.search.layers) for step in of.steps}
        found = {}
        for index, after in self.sounding.items():
            led, here = self.before.get(index), node_of[index]
            if led is None:
                found[index] = 0, price_of(self.search, here, after)
                continue
            before, last = self.sounding[led], node_of[led]
            starts = last != here or (led >= index and len(self.search.layers) == 1)
            held = not starts and before.midi(0) == after.midi(0)
            price = 0 if held else price_of(self.search, here, after)
            found[index] = cost_between(self.search, last, here, before, after), price
        return found

    @cached_property
    def onward(self) -> dict[int, CostToGo]:
        """The best continuation from each step that sounds."""
        rest = remaining(self.search, list(self.sounding.items()))
        return {step: rest.after(k) for k, step in enumerate(self.sounding)}

    def review(self) -> Review:
        """The whole of it."""
        steps = tuple(map(self._step, range(len(self.search.steps))))
        leaps = [abs(move.semitones) for step in steps for move in step.moves]
        first = next(iter(self.sounding), None)
        loop = None if not self.search.loop else 0 if first is None else steps[first].motion
        return Review(
            setting=self.search.setting,
            steps=steps,
            motion=sum(motion for motion, _ in self.moved.values()),
            loop_motion=loop,
            bass_motion=sum(bass for _, bass in self.moved.values()),
            largest_leap=max(leaps, default=0),
            best=self.best,
            cost=sum(move + price for move, price in self.paid.values()),
        )

    def _step(self, index: int) -> StepReview:
        checkpoint()
        step, notes = self.search.steps[index], self.notes[index]
        if index not in self.sounding:
            return StepReview(step, notes, self._unjudged(index))
        voicing = self.best.steps[index].voicing
        family, form, left = self._listed(index)
        context = self._context(index, listed=family is not None)
        found = (
            *check_voicing(context),
            *self._between(index, listed=family is not None),
            *find_timing(self.timing[index] if self.timing else None),
        )
        excess = self._excess(index)
        into = excess if index in self.before else None
        harmony = self.search.contexts[index] if self.search.contexts else None
        return StepReview(
            step,
            notes,
            found,
            _hands(self.played[index], self.search.setting, left),
            family,
            form,
            self.moved.get(index, (0, 0))[0],
            self._moves(index),
            excess,
            None if voicing is None else _distance(notes, voicing),
            voicing,
            self.onward[index],
            tuple(find_strengths(context, harmony, found, into)),
        )

    def _unjudged(self, index: int) -> tuple[Finding, ...]:
        """What is found where nothing was played, or where there is no chord."""
        step = self.search.steps[index]
        if step.chord.root is not None:
            return (make_finding("nothing-played", f"nothing was played over {step.symbol}"),)
        if not self.played[index]:
            return ()
        return (make_finding("no-chord", "the chart has no chord here", self.notes[index]),)

    def _context(self, index: int, *, listed: bool) -> VoicingContext:
        step, available = self.search.steps[index], self.layer_of[index].available
        return VoicingContext(
            step.chord,
            available,
            self.search.setting,
            self.notes[index],
            melody_constraint(step),
            listed,
            self._is_pedal_point(index),
        )

    def _is_pedal_point(self, index: int) -> bool:
        """Whether the lowest note is held from a chord that has it, and on if more follow."""
        order = list(self.sounding)
        at, lowest = order.index(index), self.played[index][0]
        if at + 1 < len(order) and self.played[order[at + 1]][0] != lowest:
            return False
        for step in reversed(order[:at]):
            if self.played[step][0] != lowest:
                return False
            if self.notes[step][0].part in ("tone", "bass"):
                return True
        return False

    def _between(self, index: int, *, listed: bool) -> Iterator[Finding]:
        """What is found beside the voicing before, and beside the pins."""
        if index in self.before and self._unchanged(self.before[index], index):
            words = "the chord is repeated and its voicing with it"
            yield make_finding("unchanged", words, self.notes[index])
        if not listed and any(pin.step == index for pin in self.pins):
            words = "the step is pinned to another voicing"
            yield make_finding("pin-missed", words, self.notes[index])

    def _unchanged(self, before: int, index: int) -> bool:
        """Whether a repeated chord keeps its notes where the setting wants others."""
        steps, repeats = self.search.steps, self.search.setting.repeats
        follows = (before + 1) % len(steps) == index != before
        same = steps[before].chord.name == steps[index].chord.name
        keeps = self.played[before] == self.played[index]
        return repeats == "change" and follows and same and keeps

    # --- beside the best path ---

    def _listed(self, index: int) -> tuple[str | None, Form | None, int | None]:
        """Family, form and the left hand's share, where it is one of the step's candidates."""
        layer = self.layer_of[index]
        at = layer.index_of(self.played[index])
        if at is None:
            return None, None, None
        return layer.family(at), layer.form(at), int(layer.left[at])

    def _moves(self, index: int) -> tuple[Move, ...]:
        if index not in self.before:
            return ()
        old, new = _upper(self.notes[self.before[index]]), _upper(self.notes[index])
        return voices_between(old, new, split_cost(self.search.setting)).moves

    def _excess(self, index: int) -> int:
        """What a step cost: what is paid for it and what remains, less what remained."""
        remains, (move, price) = self.onward[index].cost, self.paid[index]
        if index == next(iter(self.sounding)):
            return price + remains - self.best.cost
        return move + price + remains - self.onward[self.before[index]].cost


def _moved(before: Candidates, after: Candidates, cost: int) -> tuple[int, int]:
    found_ = moves_between(before, after, cost)
    return int(found_.motion[0, 0]), 0 if found_.bass is None else int(found_.bass[0, 0])


def _upper(notes: Sequence[NamedNote]) -> list[NamedNote]:
    return [note for note in notes if not note.is_bass]


def _distance(notes: Sequence[NamedNote], voicing: Voicing) -> int:
    upper = [note.midi for note in _upper(notes)]
    return least_assignment(upper, [note.midi for note in voicing.upper]).size


def _hands(midi: Sequence[int], setting: Setting, wished: int | None) -> Hands | None:
    left = split(midi, setting, wished)
    if left is None:
        return None
    hands = (hand for hand in (midi[:left], midi[left:]))
    spans = [round(distance_mm(hand[0], hand[-1]), 1) if hand else None for hand in hands]
    return Hands(left, (spans[0], spans[1]))
