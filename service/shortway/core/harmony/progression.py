"""Chords in a row: which chord follows which, and where a dominant resolves.

Knows charts and what keys see of a chord (`harmony.key_estimation`); `harmony.functions` says
what follows from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache, partial
from itertools import pairwise
from typing import Final

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
    suspended = chord.chord_type == "suspended" and "4" in chord.degrees
    tonic, at = root + "m" * (kind in _MINOR_CLASSES), pitch_class(root)
    number = chord_number(at, kind)
    return ActingChord(chord, chord.name, root, at, kind, tonic, suspended, number)


@lru_cache(maxsize=256)
def _as_dominant(chord: ActingChord) -> ActingChord:
    return replace(chord, kind="7", number=chord_number(chord.root, "7"))


def sections(
    chart: Chart, steps: Sequence[Step], loop: bool
) -> tuple[int, list[tuple[Sequence[Step], bool]]]:
    """Where the first section begins, and all: steps that are heard together, whether they loop.

    They are cut where the chart begins afresh, and follow each other round the loop.
    """
    fresh = chart.fresh
    cuts = [k for k, s in enumerate(steps) if s.measure in fresh and s.beat == 1] if fresh else []
    if not cuts:
        return 0, [(steps, loop)]
    begins = cuts if loop else sorted({0, *cuts})
    first, count = begins[0], len(steps)
    round_loop = [*steps, *steps[:first]]
    return first, [(round_loop[a:b], False) for a, b in pairwise([*begins, first + count])]


@dataclass(frozen=True, slots=True, eq=False)
class Relation:
    """How a chord leads to another.

    Attributes
    ----------
    motion : int
        Semitones from root up to root, 0 to 11; 5 is a falling fifth.
    is_related_ii : bool
        Whether it is minor or half-diminished and goes to the dominant a fifth below it.
    arrives : bool
        Whether it is a dominant that falls a fifth or a half step to a chord that is none.
    repeats : bool
        Whether both have one number.
    prolongs : bool
        Whether, after a dominant, the other only prepares it again: as its suspension or its
        substitute, or, minor and a fifth above, where the dominant comes again.
    key : Key or None
        The key that the two establish, where the first stands on C.
    """

    motion: int = -1
    is_related_ii: bool = False
    arrives: bool = False
    repeats: bool = False
    prolongs: bool = False
    key: Key | None = None


@cache
def _relation(kind: str, motion: int, after: str) -> Relation:
    if motion == 5 and after == "7" and kind in _MINOR_CLASSES:
        return Relation(motion, is_related_ii=True, key=key_of(10, False))
    minor = after in _MINOR_CLASSES
    arrives = kind == "7" and motion in (5, 11) and after in "Mm"
    blues = kind == after == "7" and motion == 7  # IV7 to I7
    passes = kind == "o" and motion == 6  # #IV diminished to I
    key = key_of(motion, minor) if arrives or blues or passes else None
    prolongs = after == "7" if motion in (0, 6) else motion == 7 and minor
    repeats = motion == 0 and kind == after
    return Relation(motion, arrives=arrives, repeats=repeats, prolongs=prolongs, key=key)


_LAST: Final = Relation()
#: How each chord leads to each other.
RELATIONS: Final = [
    [_relation(kind, (goal - root) % 12, after) for goal in range(12) for after in CLASSES]
    for root in range(12)
    for kind in CLASSES
]


class Progression:
    """The chords of a section of steps: which follows which, and where a dominant resolves.

    A chord stands for a run of steps; in a loop the last may go on as the first. Chord -1 is the
    one before the first: without a loop it leads nowhere.

    Attributes
    ----------
    runs : list of int
        The chord of each step of the section; -1 in N.C.
    chords : list of ActingChord
    numbers : list of ChordNumber
    measures : list of float
        How long each lasts.
    named : list of (str or None)
        The chart's key at each; empty where it has none.
    relations : list of Relation
        How each leads to the next.
    """

    def __init__(self, chart: Chart, steps: Sequence[Step], loop: bool) -> None:
        self.runs: list[int] = []
        self.measures: list[float] = []
        self.chords = chords = self._grouped(steps)
        if loop and len(chords) > 1 and chords[0].name == chords[-1].name:
            chords.pop()
            self.runs = [run % len(chords) if run >= 0 else run for run in self.runs]
            self.measures[0] = self.measures.pop() + self.measures[0]
        self.loop = loop and len(chords) > 1
        self.named: list[str | None] = []
        if chart.key or chart.keys:
            first = dict(zip(reversed(self.runs), reversed(steps), strict=True))
            self.named = [chart.key_at(first[run].measure) for run in range(len(chords))]
        for number, chord in enumerate(chords):
            if chord.suspended and self._suspends(number):
                chords[number] = _as_dominant(chord)
        self.numbers = numbers = [chord.number for chord in chords]
        self.relations = [RELATIONS[chord][after] for chord, after in pairwise(numbers)]
        self.relations.append(RELATIONS[numbers[-1]][numbers[0]] if self.loop else _LAST)

    def _grouped(self, steps: Sequence[Step]) -> list[ActingChord]:
        """The chord of each run of steps."""
        chords: list[ActingChord] = []
        runs, measures, last, run = self.runs, self.measures, "", -1
        for step in steps:
            chord = step.chord
            name = chord.name
            if name == last:
                measures[run] += step.share
                runs.append(run)
            elif chord.root is None:
                runs.append(-1)
            else:
                chords.append(_ACTING.get(name) or _ACTING.recall(name, partial(_acting, chord)))
                measures.append(step.share)
                last, run = name, run + 1
                runs.append(run)
        return chords

    def _suspends(self, number: int) -> bool:
        """Whether a 4 is a dominant's: ``Csus C7`` and ``Csus F``, but not ``Csus C``."""
        chords = self.chords
        beside = [k for k in (number - 1, number + 1) if self.loop or 0 <= k < len(chords)]
        near = [chords[k % len(chords)] for k in beside]
        own = [other.chord.chord_type for other in near if other.root == chords[number].root]
        return _WITHOUT_B7.isdisjoint(own)

    def resolution(self, number: int) -> tuple[int, Relation]:
        """Where a dominant resolves: past its own ii, its suspension and its substitute.

        At the end the relation leads nowhere.
        """
        numbers, relation, there = self.numbers, self.relations[number], number + 1
        count = len(numbers)
        while relation.prolongs:
            own, end = numbers[number], number + count if self.loop else count
            if relation.motion == 7:
                if there + 1 >= end or numbers[(there + 1) % count] != own:
                    break
                there += 1
            there += 1
            relation = RELATIONS[own][numbers[there % count]] if there < end else _LAST
        return there % count, relation

    def ii_of(self, number: int) -> ActingChord | None:
        """The related ii that a dominant follows, past its own suspension; None where none does."""
        before, relations = number - 1, self.relations
        while relations[before].repeats:
            before -= 1
            if before <= number - len(relations):
                return None
        return self.chords[before] if relations[before].is_related_ii else None
