"""Chords in a row: which chord follows which, and where a dominant goes in the end.

Knows charts and what keys see of a chord (`harmony.key_estimation`); `harmony.functions` says
what follows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from typing import Final

from shortway.core.charts import Chart, Step
from shortway.core.harmony.key_estimation import CLASS, Heard, Key, key_of
from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import pitch_class

_MINOR_CLASSES: Final = ("m", "h")


@dataclass(frozen=True, slots=True)
class Run:
    """Steps in a row with one chord: the chord, what keys see of it, its length in measures.

    `minor` is whether it would be the tonic of a minor key, `named` the chart's key there.
    """

    chord: Chord
    heard: Heard
    steps: tuple[int, ...]
    measures: float
    root: int
    kind: str
    minor: bool
    named: str | None

    @property
    def key(self) -> str:
        """The key of which this chord would be the tonic."""
        return f"{self.chord.root}{'m' if self.minor else ''}"


def runs_of(chart: Chart, steps: Sequence[Step], loop: bool) -> list[Run]:
    """Steps in a row with one chord; in a loop the last may go on as the first."""
    sounding = ((i, step) for i, step in enumerate(steps) if step.chord.root is not None)
    runs = []
    for _, group in groupby(sounding, key=lambda pair: pair[1].chord.name):
        members = list(group)
        first = members[0][1]
        named = chart.key_at(first.measure)
        heard = Heard(first.chord.root_pc or 0, CLASS[first.chord.chord_type], read_key(named))
        length = sum(float(s.beats) / chart.meter_at(s.measure)[0] for _, s in members)
        seen = heard.root, heard.kind, heard.kind in _MINOR_CLASSES, named
        runs.append(Run(first.chord, heard, tuple(i for i, _ in members), length, *seen))
    if loop and len(runs) > 1 and runs[0].chord.name == runs[-1].chord.name:
        last, first_run = runs.pop(), runs[0]
        both = (*last.steps, *first_run.steps)
        runs[0] = replace(first_run, steps=both, measures=last.measures + first_run.measures)
    return runs


def read_key(name: str | None) -> Key | None:
    """The key of a chart's name for it; None where it names none."""
    if name is None:
        return None
    return key_of(pitch_class(name.removesuffix("m")), name.endswith("m"))


def pieces(chart: Chart, steps: Sequence[Step], loop: bool) -> Iterator[tuple[Sequence[int], bool]]:
    """Steps that are heard together, cut where the chart begins afresh; whether they go round."""
    count = len(steps)
    cuts = [k for k, step in enumerate(steps) if step.measure in chart.fresh and step.beat == 1]
    if not cuts:
        yield range(count), loop
        return
    begins = cuts if loop else sorted({0, *cuts})
    for begin, end in pairwise([*begins, begins[0] + count]):
        yield [index % count for index in range(begin, end)], False


class Following:
    """Which chord follows which, and where a dominant goes in the end."""

    def __init__(self, runs: Sequence[Run], loop: bool) -> None:
        self.runs = runs
        self.loop = loop and len(runs) > 1
        self.twos = [self._is_two(number) for number in range(len(runs))]

    def after(self, number: int, by: int = 1) -> int | None:
        """The number of the chord `by` places after, round the loop."""
        there = number + by
        if there < len(self.runs):
            return there
        return there % len(self.runs) if self.loop and by < len(self.runs) else None

    def before(self, number: int) -> int | None:
        """The number of the chord before."""
        return number - 1 if number else len(self.runs) - 1 if self.loop else None

    def falls(self, number: int, there: int | None) -> int | None:
        """Semitones that the root moves up to the chord `there`, 5 being a falling fifth."""
        if there is None:
            return None
        return (self.runs[there].root - self.runs[number].root) % 12

    def goal(self, number: int) -> int | None:
        """Where a dominant goes: past its own two, its suspension and its substitute."""
        there = self.after(number)
        while there is not None and (skipped := self._belongs(number, there)):
            there = self.after(number, skipped + 1)
        return there

    def _belongs(self, number: int, there: int) -> int:
        """How many chords from the next on only prepare the dominant `number` again."""
        one, next_ = self.runs[number], self.runs[there]
        by = (there - number) % len(self.runs)
        distance = (next_.root - one.root) % 12
        if next_.kind == "7" and distance in (0, 6):
            return by
        again = self.after(there)
        if distance == 7 and next_.minor and again is not None and again != number:
            five = self.runs[again]
            if five.kind == "7" and five.root == one.root:
                return by + 1
        return 0

    def is_two(self, number: int) -> bool:
        """Whether a minor or half-diminished chord goes to the dominant a fifth below it."""
        return self.twos[number]

    def _is_two(self, number: int) -> bool:
        there = self.after(number)
        if there is None or not self.runs[number].minor:
            return False
        return self.runs[there].kind == "7" and self.falls(number, there) == 5
