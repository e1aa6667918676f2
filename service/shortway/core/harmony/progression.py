"""Chords in a row: which chord follows which, and where a dominant resolves.

Knows charts and what keys see of a chord (`harmony.key_estimation`); `harmony.functions` says
what follows from it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache, partial
from itertools import pairwise
from typing import Final, NamedTuple

from shortway.core.cache import Memo
from shortway.core.charts import Chart, Step
from shortway.core.harmony.key_estimation import (
    CLASS,
    CLASSES,
    ChordNumber,
    Key,
    chord_number,
    key_of,
)
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


@dataclass(frozen=True, slots=True, eq=False)
class ActingChord:
    """What keys see of a chord; one object for all chords of a name, compared by identity.

    Attributes
    ----------
    root_name, root, kind : str, int, str
        What it acts with: a name, its pitch class, a value of `key_estimation.CLASS`. Of Bb/C, a
        dominant, those of C.
    minor : bool
        Whether its third is minor.
    key : str
        The key of which it would be the tonic.
    suspended : bool
        Whether a 4 stands for its third, without a number.
    number : ChordNumber
        Root and kind.
    """

    chord: Chord
    name: str
    root_name: str
    root: int
    kind: str
    minor: bool
    key: str
    suspended: bool
    number: ChordNumber


_ACTING: Final[Memo[str, ActingChord]] = Memo("acting chords", 1 << 20, lambda _: 50)


def _acting(chord: Chord) -> ActingChord:
    """What a chord acts with: over a slash bass it may be a dominant."""
    root, kind = chord.root or "C", CLASS[chord.chord_type]
    if chord.bass is not None:
        above = ((chord.bass_pc or 0) - (chord.root_pc or 0)) % 12
        if above in DOMINANT_OVER_BASS.get(chord.chord_type, ()):
            root, kind = chord.bass, "7"
    minor = kind in _MINOR_CLASSES
    suspended = chord.chord_type == "suspended" and "4" in chord.degrees
    tonic, number = root + "m" * minor, chord_number(pitch_class(root), kind)
    names = chord.name, root, pitch_class(root)
    return ActingChord(chord, *names, kind, minor, tonic, suspended, number)


@lru_cache(maxsize=256)
def _as_dominant(chord: ActingChord) -> ActingChord:
    return replace(chord, kind="7", number=chord_number(chord.root, "7"))


@lru_cache(maxsize=64)
def read_key(name: str) -> Key:
    """The key of a chart's name for it."""
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


class Relation(NamedTuple):
    """How a chord leads to the next.

    Attributes
    ----------
    is_related_ii : bool
        Whether it is minor or half-diminished and goes to the dominant a fifth below it.
    arrives : bool
        Whether it is a dominant that falls a fifth or a half step to a chord that is none.
    key : Key or None
        The key that the two establish.
    """

    is_related_ii: bool = False
    arrives: bool = False
    key: Key | None = None


_LAST: Final = Relation()


@cache  # 60 times 60 of them
def _relation(chord: ChordNumber, after: ChordNumber) -> Relation:
    (root, kind), (goal, of_goal) = divmod(chord, len(CLASSES)), divmod(after, len(CLASSES))
    motion, pair = (goal - root) % 12, CLASSES[kind] + CLASSES[of_goal]
    if motion == 5 and pair in ("m7", "h7"):
        return Relation(is_related_ii=True, key=key_of(root + 10, False))
    arrives = motion in (5, 11) and pair in ("7M", "7m")
    blues = motion == 7 and pair == "77"  # IV7 to I7
    passes = motion == 6 and pair[0] == "o"  # #IV diminished to I
    key = key_of(goal, pair[1] in _MINOR_CLASSES) if arrives or blues or passes else None
    return Relation(arrives=arrives, key=key)


class Progression:
    """The chords of a section of steps: which follows which, and where a dominant resolves.

    Attributes
    ----------
    chords : list of ActingChord
        Each stands for a run of steps with one chord; in a loop the last may go on as the first.
    numbers : list of ChordNumber
    steps : list of list of int
        Those of each chord.
    measures : list of float
        How long each lasts.
    named : list of (str or None)
        The chart's key at each; empty where it has none.
    before, after : list of (int or None)
        The number of the chord before and after each, round the loop.
    relations : list of Relation
        How each leads to the next.
    """

    def __init__(
        self, chart: Chart, steps: Sequence[Step], section: Sequence[int], loop: bool
    ) -> None:
        self.steps: list[list[int]] = []
        self.measures: list[float] = []
        chords = self._grouped(steps, section)
        starts = [steps[run[0]].measure for run in self.steps] if chart.key or chart.keys else []
        self.named = [chart.key_at(number) for number in starts]
        if loop and len(chords) > 1 and chords[0].name == chords[-1].name:
            chords.pop()
            self.steps[0] = self.steps.pop() + self.steps[0]
            self.measures[0] = self.measures.pop() + self.measures[0]
            del self.named[len(chords) :]
        count = len(chords)
        self.loop = loop and count > 1
        self.before: list[int | None] = [count - 1 if self.loop else None, *range(count - 1)]
        self.after: list[int | None] = [*range(1, count), 0 if self.loop else None]
        self.chords = [
            _as_dominant(chord) if chord.suspended and self._suspends(chords, k) else chord
            for k, chord in enumerate(chords)
        ]
        self.numbers = [chord.number for chord in self.chords]
        around = self.numbers[:1] if self.loop else []
        self.relations = [*map(_relation, self.numbers, self.numbers[1:] + around)]
        if not self.loop:
            self.relations.append(_LAST)

    def _grouped(self, steps: Sequence[Step], section: Sequence[int]) -> list[ActingChord]:
        """The chord of each run of steps."""
        chords: list[ActingChord] = []
        runs, measures, name = self.steps, self.measures, ""
        for index in section:
            step = steps[index]
            chord = step.chord
            if chord.root is None:
                continue
            if chord.name == name:
                runs[-1].append(index)
                measures[-1] += step.share
            else:
                name = chord.name
                chords.append(_ACTING.get(name) or _ACTING.recall(name, partial(_acting, chord)))
                runs.append([index])
                measures.append(step.share)
        return chords

    def _suspends(self, chords: Sequence[ActingChord], number: int) -> bool:
        """Whether a 4 is a dominant's: ``Csus C7`` and ``Csus F``, but not ``Csus C``."""
        beside = {self.before[number], self.after[number]} - {None, number}
        near = [chords[k] for k in beside if k is not None]
        own = [other.chord.chord_type for other in near if other.root == chords[number].root]
        return _WITHOUT_B7.isdisjoint(own)

    def _past(self, number: int, by: int) -> int | None:
        """The number of the chord `by` places after, round the loop."""
        there = number + by
        if there < len(self.chords):
            return there
        return there % len(self.chords) if self.loop and by < len(self.chords) else None

    def root_motion(self, number: int, there: int) -> int:
        """Semitones from the root of one chord up to another's, 0 to 11; 5 is a falling fifth."""
        return (self.chords[there].root - self.chords[number].root) % 12

    def resolution(self, number: int) -> int | None:
        """Where a dominant resolves: past its own ii, its suspension and its substitute."""
        there = self.after[number]
        while there is not None and (skipped := self._prolongs(number, there)):
            there = self._past(number, skipped + 1)
        return there

    def _prolongs(self, number: int, there: int) -> int:
        """How many chords from the next on only prepare the dominant `number` again."""
        distance, last = self.root_motion(number, there), None
        if distance in (0, 6) and self.chords[there].kind == "7":
            last = there
        elif distance == 7 and self.chords[there].minor:
            again = self.after[there]
            if (
                again != number
                and again is not None
                and self.numbers[again] == self.numbers[number]
            ):
                last = again
        return 0 if last is None else (last - number) % len(self.chords)

    def ii_of(self, number: int) -> int | None:
        """The related ii that a dominant follows, past its own suspension; None where none does."""
        before, own = self.before[number], self.numbers[number]
        while before is not None and before != number and self.numbers[before] == own:
            before = self.before[before]
        if before is None or not self.relations[before].is_related_ii:
            return None
        return before if self.root_motion(before, number) == 5 else None
