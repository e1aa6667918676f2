"""Chords in a row: which chord follows which, and where a dominant resolves.

Knows charts and what keys see of a chord (`harmony.key_estimation`); `harmony.functions` says
what follows from it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Final, NamedTuple

from shortway.core.charts import Chart, Step
from shortway.core.harmony.key_estimation import CLASS, Key, key_of
from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import pitch_class

_MINOR_CLASSES: Final = ("m", "h")
_FIFTH: Final = 5

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


class ChordSpan(NamedTuple):
    """Steps in a row with one chord: the chord, what keys see of it, its length in measures.

    Attributes
    ----------
    root_name, root, kind : str, int, str
        What it acts with: a name, its pitch class, a value of `key_estimation.CLASS`. Of Bb/C, a
        dominant, those of C.
    minor : bool
        Whether its third is minor.
    key : str
        The key of which it would be the tonic.
    named, own : str, int, or None
        The chart's key there.
    """

    chord: Chord
    root_name: str
    root: int
    kind: str
    minor: bool
    key: str
    named: str | None
    own: Key | None
    steps: tuple[int, ...]
    measures: float


def chord_spans(chart: Chart, steps: Sequence[Step], loop: bool) -> list[ChordSpan]:
    """Steps in a row with one chord; in a loop the last may go on as the first."""
    runs: list[list[int]] = []
    name = ""
    for index, step in enumerate(steps):
        chord = step.chord
        if chord.root is None:
            continue
        if chord.name == name:
            runs[-1].append(index)
        else:
            runs.append([index])
            name = chord.name
    spans = [_span(chart, steps, run) for run in runs]
    if loop and len(spans) > 1 and spans[0].chord.name == spans[-1].chord.name:
        last, first = spans.pop(), spans[0]
        both = (*last.steps, *first.steps)
        spans[0] = first._replace(steps=both, measures=last.measures + first.measures)
    return _with_suspensions(spans, loop)


def _span(chart: Chart, steps: Sequence[Step], run: Sequence[int]) -> ChordSpan:
    first = steps[run[0]]
    named = chart.key_at(first.measure) if chart.keys else chart.key
    measures = 0.0
    for index in run:
        beats, unit = steps[index].beats.as_integer_ratio()
        measures += beats / unit / steps[index].meter[0]
    own = None if named is None else read_key(named)
    return ChordSpan(first.chord, *_acting(first.chord), named, own, tuple(run), measures)


@lru_cache(maxsize=4096)
def _acting(chord: Chord) -> tuple[str, int, str, bool, str]:
    """What a chord acts with: over a slash bass it may be a dominant."""
    root, kind = chord.root or "C", CLASS[chord.chord_type]
    if chord.bass is not None:
        above = ((chord.bass_pc or 0) - (chord.root_pc or 0)) % 12
        if above in DOMINANT_OVER_BASS.get(chord.chord_type, ()):
            root, kind = chord.bass, "7"
    minor = kind in _MINOR_CLASSES
    return root, pitch_class(root), kind, minor, root + "m" * minor


def _with_suspensions(spans: list[ChordSpan], loop: bool) -> list[ChordSpan]:
    """A suspended chord without a number is a dominant, unless a triad of its root is beside it."""
    return [
        span._replace(kind="7") if span.kind == "M" and _is_dominant(spans, number, loop) else span
        for number, span in enumerate(spans)
    ]


def _is_dominant(spans: Sequence[ChordSpan], number: int, loop: bool) -> bool:
    """Whether a suspended 4 is a dominant's: ``Csus C7`` and ``Csus F``, but not ``Csus C``."""
    if spans[number].chord.chord_type != "suspended":
        return False
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
    fresh = chart.fresh
    cuts = [k for k, s in enumerate(steps) if s.measure in fresh and s.beat == 1] if fresh else []
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
        self._next: list[int | None] = [*range(1, len(spans)), 0 if self.loop else None]
        self._motions = [self.root_motion(k, self._next[k]) for k in range(len(spans))]
        self._twos = [self._leads_to_five(number) for number in range(len(spans))]

    def after(self, number: int) -> int | None:
        """The number of the next chord, round the loop."""
        return self._next[number]

    def _past(self, number: int, by: int) -> int | None:
        """The number of the chord `by` places after, round the loop."""
        there = number + by
        if there < len(self.spans):
            return there
        return there % len(self.spans) if self.loop and by < len(self.spans) else None

    def motion_on(self, number: int) -> int | None:
        """Semitones from the root of a chord up to that of the next, 0 to 11."""
        return self._motions[number]

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
            there = self._past(number, skipped + 1)
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
        there = self._next[number]
        if self._motions[number] != _FIFTH or there is None or not self.spans[number].minor:
            return False
        return self.spans[there].kind == "7"

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
