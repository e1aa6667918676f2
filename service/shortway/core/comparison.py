"""Comparison: what was played beside the best path, step by step.

Knows searches, heard notes and findings. The way between what was played is counted as a path's
is: upper notes voice by voice, unlike numbers by least assignment.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from shortway.core.answers import Path
from shortway.core.appraisal import Hands, Review, StepReview
from shortway.core.findings import Case, Finding, found, judged, split
from shortway.core.heard import HeardNote, heard
from shortway.core.keyboard import distance_mm
from shortway.core.motion import least_assignment, moves_between
from shortway.core.onward import Onward, Remaining, remaining, split_cost
from shortway.core.pins import Pin
from shortway.core.played import Played
from shortway.core.remarks import Move, moves
from shortway.core.search import Search
from shortway.core.setting import Setting
from shortway.core.voicing import Candidates, Form, Voicing, sounding


@dataclass(frozen=True)
class Comparison:
    """A search through the steps that were played, what was played, and the best path."""

    search: Search
    played: Played
    best: Path
    pins: tuple[Pin, ...]

    @cached_property
    def sounding(self) -> dict[int, Candidates]:
        """What was played at each step that sounds, as `solve` takes notes that sound."""
        has_bass = not self.search.setting.bass_player
        return {
            step: sounding(self.played[step], has_bass=has_bass)
            for step in sorted(step for node in self.search.nodes for step in node.steps)
        }

    @cached_property
    def remaining(self) -> Remaining:
        """What remains after each of them."""
        return remaining(self.search, list(self.sounding.items()))

    @cached_property
    def layer_of(self) -> dict[int, Candidates]:
        """The candidates of each step that sounds."""
        pairs = zip(self.search.nodes, self.search.layers, strict=True)
        return {step: layer for node, layer in pairs for step in node.steps}

    @cached_property
    def notes(self) -> list[tuple[HeardNote, ...]]:
        """The notes of every step, named."""
        has_bass = not self.search.setting.bass_player
        return [
            heard(
                step.chord,
                self.layer_of[k].palette if k in self.layer_of else None,
                self.played[k],
                has_bass=has_bass,
            )
            for k, step in enumerate(self.search.steps)
        ]

    def review(self) -> Review:
        """The whole of it."""
        order = list(self.sounding)
        place = {step: k for k, step in enumerate(order)}
        steps = tuple(
            self._step(index, order, place.get(index)) for index in range(len(self.search.steps))
        )
        moved = [abs(move.semitones) for step in steps for move in step.moves]
        loop = steps[order[0]].motion if order and self.search.loop else 0
        return Review(
            setting=self.search.setting,
            steps=steps,
            total=sum(step.motion or 0 for step in steps),
            loop=loop if self.search.loop else None,
            bass=sum(self._bass(order, k) for k in range(len(order))),
            largest_leap=max(moved, default=0),
            best=self.best,
        )

    def _step(self, index: int, order: Sequence[int], k: int | None) -> StepReview:
        step = self.search.steps[index]
        if k is None:
            return StepReview(step, self.notes[index], self._unjudged(index))
        voicing = self.best.steps[index].voicing
        family, form, left = self._listed(index)
        onward = self.remaining.after(k)
        return StepReview(
            step,
            self.notes[index],
            (*self._judged(index), *self._between(index, order, k)),
            _hands(self.played[index], self.search.setting, left),
            family,
            form,
            self._motion(order, k),
            self._moves(order, k),
            self._excess(k, onward, self._into(order, k)),
            None if voicing is None else _distance(self.notes[index], voicing),
            voicing,
            onward,
        )

    def _unjudged(self, index: int) -> tuple[Finding, ...]:
        """What is found where nothing was played, or where there is no chord."""
        step = self.search.steps[index]
        if step.chord.root is not None:
            return (found("nothing-played", f"nothing was played over {step.symbol}"),)
        if not self.played[index]:
            return ()
        return (found("no-chord", "the chart rests here", self.notes[index]),)

    def _judged(self, index: int) -> tuple[Finding, ...]:
        chord, palette = self.search.steps[index].chord, self.layer_of[index].palette
        return judged(Case(chord, palette, self.search.setting, self.notes[index]))

    def _between(self, index: int, order: Sequence[int], k: int) -> Iterator[Finding]:
        """What is found beside the voicing before, and beside the pins."""
        before = self._before(order, k)
        if before is not None and self._unchanged(before, index):
            words = "the chord is repeated and its voicing with it"
            yield found("unchanged", words, self.notes[index])
        pinned = any(pin.step == index for pin in self.pins)
        if pinned and self._listed(index)[0] is None:
            words = "the step is pinned, and this is not what the pin asks for"
            yield found("pin-missed", words, self.notes[index])

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

    def _before(self, order: Sequence[int], k: int) -> int | None:
        """The step that leads into the k-th; in a loop the last leads into the first."""
        if k:
            return order[k - 1]
        return order[-1] if self.search.loop else None

    def _into(self, order: Sequence[int], k: int) -> int:
        """The motion into the k-th step from the one before it, none into the first."""
        return self._moved(order[k - 1], order[k])[0] if k else 0

    def _motion(self, order: Sequence[int], k: int) -> int:
        """The motion into the k-th step, in a loop into the first one, too."""
        before = self._before(order, k)
        return 0 if before is None else self._moved(before, order[k])[0]

    def _bass(self, order: Sequence[int], k: int) -> int:
        before = self._before(order, k)
        return 0 if before is None else self._moved(before, order[k])[1]

    def _moved(self, before: int, after: int) -> tuple[int, int]:
        """Motion and bass motion between two steps that sound."""
        pair = self.sounding[before], self.sounding[after]
        found_ = moves_between(*pair, split_cost(self.search.setting))
        return int(found_.motion[0, 0]), 0 if found_.bass is None else int(found_.bass[0, 0])

    def _moves(self, order: Sequence[int], k: int) -> tuple[Move, ...]:
        before = self._before(order, k)
        if before is None:
            return ()
        old, new = _upper(self.notes[before]), _upper(self.notes[order[k]])
        return moves(old, new, split_cost(self.search.setting))

    def _excess(self, k: int, onward: Onward, into: int) -> int:
        remained = self.remaining.after(k - 1).motion if k else self.best.total
        return into + onward.motion - remained


def _upper(notes: Sequence[HeardNote]) -> list[HeardNote]:
    return [note for note in notes if not note.bass]


def _distance(notes: Sequence[HeardNote], voicing: Voicing) -> int:
    upper = [note.midi for note in _upper(notes)]
    return least_assignment(upper, [note.midi for note in voicing.upper]).size


def _hands(midi: Sequence[int], setting: Setting, wished: int | None) -> Hands | None:
    left = split(midi, setting, wished)
    if left is None:
        return None
    hands = (hand for hand in (midi[:left], midi[left:]))
    spans = [round(distance_mm(hand[0], hand[-1]), 1) if hand else None for hand in hands]
    return Hands(left, (spans[0], spans[1]))
