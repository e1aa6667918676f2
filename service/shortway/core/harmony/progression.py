"""Chords in a row: which chord follows which, and where a dominant resolves.

Knows charts and what keys see of a chord (`harmony.key_estimation`); `harmony.functions` says
what follows from it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from typing import Final

from shortway.core.charts import Chart, Step
from shortway.core.harmony.key_estimation import CLASS, Evidence, Key, key_of
from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import pitch_class

_MINOR_CLASSES: Final = ("m", "h")

#: Chords that are a dominant over their slash bass, by the bass's semitones above the root: Bb/C
#: and Gm7/C are C9sus, Dm7b5/G is G7sus(b9), Bm7b5/G is G9. Levine, The Jazz Piano Book (1989), on
#: sus chords (from memory, no page); the rootless ones are common practice, no source.
DOMINANT_OVER_BASS: Final[dict[str, frozenset[int]]] = {
    "major": frozenset({2}), "major-sixth": frozenset({2}), "major-seventh": frozenset({2}),
    "minor": frozenset({5}), "minor-sixth": frozenset({2, 5}), "minor-seventh": frozenset({5}),
    "half-diminished": frozenset({5, 8}), "diminished": frozenset({8}),
    "diminished-seventh": frozenset({8}),
}  # fmt: skip


#: Chord types that show a suspended chord of the same root to be a triad.
_WITHOUT_B7: Final = frozenset(
    {"major", "minor", "suspended", "power", "major-sixth", "minor-sixth", "major-seventh"}
)


@dataclass(frozen=True, slots=True)
class ChordSpan:
    """Steps in a row with one chord: the chord, what keys see of it, its length in measures.

    `root`, `root_name` and `kind` are those it acts with: of Bb/C, a dominant, those of C. `minor`
    is whether it would be the tonic of a minor key, `named` the chart's key there.
    """

    chord: Chord
    evidence: Evidence
    steps: tuple[int, ...]
    measures: float
    root_name: str
    named: str | None

    @property
    def root(self) -> int:
        """Pitch class of the root, 0 to 11."""
        return self.evidence.root

    @property
    def kind(self) -> str:
        """Class of chord, a value of `key_estimation.CLASS`."""
        return self.evidence.kind

    @property
    def minor(self) -> bool:
        """Whether its third is minor."""
        return self.evidence.kind in _MINOR_CLASSES

    @property
    def key(self) -> str:
        """The key of which this chord would be the tonic."""
        return f"{self.root_name}{'m' if self.minor else ''}"


def chord_spans(chart: Chart, steps: Sequence[Step], loop: bool) -> list[ChordSpan]:
    """Steps in a row with one chord; in a loop the last may go on as the first."""
    sounding = ((i, step) for i, step in enumerate(steps) if step.chord.root is not None)
    spans = []
    for _, group in groupby(sounding, key=lambda pair: pair[1].chord.name):
        members = list(group)
        first = members[0][1]
        named = chart.key_at(first.measure)
        root, kind = _acting(first.chord)
        evidence = Evidence(pitch_class(root), kind, read_key(named))
        length = sum(float(s.beats) / chart.meter_at(s.measure)[0] for _, s in members)
        spans.append(
            ChordSpan(first.chord, evidence, tuple(i for i, _ in members), length, root, named)
        )
    if loop and len(spans) > 1 and spans[0].chord.name == spans[-1].chord.name:
        last, first_span = spans.pop(), spans[0]
        both = (*last.steps, *first_span.steps)
        spans[0] = replace(first_span, steps=both, measures=last.measures + first_span.measures)
    return _with_suspensions(spans, loop)


def _acting(chord: Chord) -> tuple[str, str]:
    """The root that a chord acts with, and its class: over a slash bass it may be a dominant."""
    root = chord.root or "C"
    if chord.bass is not None:
        above = ((chord.bass_pc or 0) - (chord.root_pc or 0)) % 12
        if above in DOMINANT_OVER_BASS.get(chord.chord_type, ()):
            return chord.bass, "7"
    return root, CLASS[chord.chord_type]


def _with_suspensions(spans: list[ChordSpan], loop: bool) -> list[ChordSpan]:
    """A suspended chord without a number is a dominant, unless a triad of its root is beside it."""
    return [
        replace(span, evidence=replace(span.evidence, kind="7"))
        if span.chord.chord_type == "suspended" and _is_dominant(spans, number, loop)
        else span
        for number, span in enumerate(spans)
    ]


def _is_dominant(spans: Sequence[ChordSpan], number: int, loop: bool) -> bool:
    """Whether a suspended 4 is a dominant's: ``Csus C7`` and ``Csus F``, but not ``Csus C``."""
    count = len(spans)
    beside = [number + 1, number - 1] if not loop else [(number + 1) % count, (number - 1) % count]
    near = [spans[k] for k in beside if 0 <= k < count and k != number]
    own = [span.chord.chord_type for span in near if span.root == spans[number].root]
    return "4" in spans[number].chord.degrees and _WITHOUT_B7.isdisjoint(own)


def read_key(name: str | None) -> Key | None:
    """The key of a chart's name for it; None where it names none."""
    if name is None:
        return None
    return key_of(pitch_class(name.removesuffix("m")), name.endswith("m"))


def sections(
    chart: Chart, steps: Sequence[Step], loop: bool
) -> Iterator[tuple[Sequence[int], bool]]:
    """Steps that are heard together, cut where the chart begins afresh; whether they go round."""
    count = len(steps)
    cuts = [k for k, step in enumerate(steps) if step.measure in chart.fresh and step.beat == 1]
    if not cuts:
        yield range(count), loop
        return
    begins = cuts if loop else sorted({0, *cuts})
    for begin, end in pairwise([*begins, begins[0] + count]):
        yield [index % count for index in range(begin, end)], False


class Progression:
    """Which chord follows which, and where a dominant resolves."""

    def __init__(self, spans: Sequence[ChordSpan], loop: bool) -> None:
        self.spans = spans
        self.loop = loop and len(spans) > 1
        self._twos = [self._leads_to_five(number) for number in range(len(spans))]

    def after(self, number: int, by: int = 1) -> int | None:
        """The number of the chord `by` places after, round the loop."""
        there = number + by
        if there < len(self.spans):
            return there
        return there % len(self.spans) if self.loop and by < len(self.spans) else None

    def before(self, number: int) -> int | None:
        """The number of the chord before."""
        return number - 1 if number else len(self.spans) - 1 if self.loop else None

    def root_motion(self, number: int, there: int | None) -> int | None:
        """Semitones from the root of one chord up to another's, 0 to 11; 5 is a falling fifth."""
        if there is None:
            return None
        return (self.spans[there].root - self.spans[number].root) % 12

    def resolution(self, number: int) -> int | None:
        """Where a dominant resolves: past its own ii, its suspension and its substitute."""
        there = self.after(number)
        while there is not None and (skipped := self._prolongs(number, there)):
            there = self.after(number, skipped + 1)
        return there

    def _prolongs(self, number: int, there: int) -> int:
        """How many chords from the next on only prepare the dominant `number` again."""
        one, next_ = self.spans[number], self.spans[there]
        by = (there - number) % len(self.spans)
        distance = (next_.root - one.root) % 12
        if next_.kind == "7" and distance in (0, 6):
            return by
        again = self.after(there)
        if distance == 7 and next_.minor and again is not None and again != number:
            five = self.spans[again]
            if five.kind == "7" and five.root == one.root:
                return by + 1
        return 0

    def is_related_ii(self, number: int) -> bool:
        """Whether a minor or half-diminished chord goes to the dominant a fifth below it."""
        return self._twos[number]

    def _leads_to_five(self, number: int) -> bool:
        there = self.after(number)
        if there is None or not self.spans[number].minor:
            return False
        return self.spans[there].kind == "7" and self.root_motion(number, there) == 5

    def ii_of(self, number: int) -> int | None:
        """The related ii that a dominant follows, past its own suspension; None where none does."""
        before = self.before(number)
        while before is not None and before != number and self._suspends(before, number):
            before = self.before(before)
        if before is None or not self.is_related_ii(before):
            return None
        return before if self.root_motion(before, number) == 5 else None

    def _suspends(self, before: int, number: int) -> bool:
        one, other = self.spans[before], self.spans[number]
        return one.kind == other.kind == "7" and one.root == other.root
