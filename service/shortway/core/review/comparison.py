"""Comparison: what was played beside the best path, step by step.

Knows searches, heard notes and findings. The way between what was played is counted as a path's
is: upper notes voice by voice, unlike numbers by least assignment.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

from shortway.core.cancellation import checkpoint
from shortway.core.review.findings import Finding, VoicingContext, make_finding
from shortway.core.review.input import Played
from shortway.core.review.note_naming import NamedNote, name_notes
from shortway.core.review.results import Review, StepReview, VoicingReview
from shortway.core.review.rules import check_voicing
from shortway.core.review.strengths import find_strengths
from shortway.core.review.timing import find_timing
from shortway.core.review.voicing_review import review_voicing
from shortway.core.solver.cost_to_go import CostToGo, move_price, price_of, remaining, split_cost
from shortway.core.solver.layers import melody_constraint
from shortway.core.solver.pins import Pin
from shortway.core.solver.problem import PathProblem
from shortway.core.solver.results import Path
from shortway.core.voice_leading.distance import least_assignment
from shortway.core.voice_leading.moves import Voices, bass_motion, voices_between
from shortway.core.voicings.candidate_arrays import Candidates, sounding
from shortway.core.voicings.model import Voicing


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
    def order(self) -> list[int]:
        """The steps that sound."""
        return list(self.sounding)

    @cached_property
    def place(self) -> dict[int, int]:
        """Where in `order` each of them is."""
        return {step: place for place, step in enumerate(self.order)}

    @cached_property
    def layer_of(self) -> dict[int, Candidates]:
        """The candidates of each step that sounds."""
        pairs = zip(self.search.layers, self.search.candidates, strict=True)
        return {step: layer for node, layer in pairs for step in node.steps}

    @cached_property
    def voicings(self) -> list[VoicingReview]:
        """What is to be said of the notes of every step by themselves."""
        return [
            review_voicing(step.chord, self.layer_of[k], midi, self.search.setting)
            if k in self.layer_of
            else VoicingReview(name_notes(step.chord, None, midi, has_bass=False))
            for k, (step, midi) in enumerate(zip(self.search.steps, self.played, strict=True))
        ]

    @cached_property
    def notes(self) -> list[tuple[NamedNote, ...]]:
        """The notes of every step, named."""
        return [voicing.notes for voicing in self.voicings]

    @cached_property
    def before(self) -> dict[int, int]:
        """The step that leads into each; in a loop the last leads into the first."""
        order = self.order
        led = {after: before for before, after in pairwise(order)}
        return {**led, order[0]: order[-1]} if order and self.search.loop else led

    @cached_property
    def voices(self) -> dict[int, Voices]:
        """How the voices move into each step that something leads into."""
        cost, upper = split_cost(self.search.setting), [_upper(notes) for notes in self.notes]
        return {
            after: voices_between(upper[before], upper[after], cost)
            for after, before in self.before.items()
        }

    @cached_property
    def moved(self) -> dict[int, tuple[int, int]]:
        """Motion and bass motion into each step that something leads into."""
        cost = split_cost(self.search.setting)
        return {
            after: _moved(self.notes[self.before[after]], self.notes[after], voices, cost)
            for after, voices in self.voices.items()
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
                found[index] = 0, price_of(self.search, here, after, self.voicings[index].row)
                continue
            before, last = self.sounding[led], node_of[led]
            starts = last != here or (led >= index and len(self.search.layers) == 1)
            held = not starts and self.played[led] == self.played[index]
            price = 0 if held else price_of(self.search, here, after, self.voicings[index].row)
            more = move_price(self.search, last, here, before, after)
            found[index] = self.moved[index][0] + more, price
        return found

    @cached_property
    def onward(self) -> dict[int, CostToGo]:
        """The best continuation from each step that sounds."""
        rows = [self.voicings[step].row for step in self.sounding]
        rest = remaining(self.search, list(self.sounding.items()), rows)
        return {step: rest.after(k) for k, step in enumerate(self.sounding)}

    def review(self) -> Review:
        """The whole of it."""
        steps = tuple(map(self._step, range(len(self.search.steps))))
        leaps = [abs(move.semitones) for step in steps for move in step.moves]
        first = next(iter(self.order), None)
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
        step, played = self.search.steps[index], self.voicings[index]
        if index not in self.sounding or played.context is None:
            return StepReview(step, played, self._unjudged(index))
        voicing = self.best.steps[index].voicing
        found = (
            *self._judged(index, played, played.context),
            *self._between(index, listed=played.row is not None),
            *find_timing(self.timing[index] if self.timing else None),
        )
        excess = self._excess(index)
        into = excess if index in self.before else None
        harmony = self.search.contexts[index] if self.search.contexts else None
        return StepReview(
            step,
            played,
            found,
            self.moved.get(index, (0, 0))[0],
            self.voices[index].moves if index in self.voices else (),
            excess,
            None if voicing is None else _distance(played.notes, voicing),
            voicing,
            self.onward[index],
            tuple(find_strengths(played.context, harmony, found, into)),
        )

    def _judged(
        self, index: int, played: VoicingReview, context: VoicingContext
    ) -> tuple[Finding, ...]:
        """What is found in the notes of a step, below its melody and as a pedal point, too."""
        wish, pedal = melody_constraint(self.search.steps[index]), self._is_pedal_point(index)
        if not (wish or pedal):
            return played.findings
        return check_voicing(replace(context, wish=wish, pedal=pedal))

    def _unjudged(self, index: int) -> tuple[Finding, ...]:
        """What is found where nothing was played, or where there is no chord."""
        step = self.search.steps[index]
        if step.chord.root is not None:
            return (make_finding("nothing-played", f"nothing was played over {step.symbol}"),)
        if not self.played[index]:
            return ()
        return (make_finding("no-chord", "the chart has no chord here", self.notes[index]),)

    def _is_pedal_point(self, index: int) -> bool:
        """Whether the lowest note is held from a chord that has it, and on if more follow."""
        order, at, lowest = self.order, self.place[index], self.played[index][0]
        if at + 1 < len(order) and self.played[order[at + 1]][0] != lowest:
            return False
        for step in map(order.__getitem__, range(at - 1, -1, -1)):
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

    def _excess(self, index: int) -> int:
        """What a step cost: what is paid for it and what remains, less what remained."""
        remains, (move, price) = self.onward[index].cost, self.paid[index]
        if index == self.order[0]:
            return price + remains - self.best.cost
        return move + price + remains - self.onward[self.before[index]].cost


def _moved(
    before: Sequence[NamedNote], after: Sequence[NamedNote], voices: Voices, cost: int
) -> tuple[int, int]:
    """Motion, splits and merges at their `cost`, and bass motion."""
    splits = voices.splits(len(_upper(before)), len(_upper(after)))
    return sum(map(abs, voices.semitones)) + splits * cost, bass_motion(before[0], after[0])


def _upper(notes: Sequence[NamedNote]) -> list[NamedNote]:
    return [note for note in notes if not note.is_bass]


def _distance(notes: Sequence[NamedNote], voicing: Voicing) -> int:
    upper = [note.midi for note in _upper(notes)]
    return least_assignment(upper, [note.midi for note in voicing.upper]).size
