"""The melody notes that count over each chord.

A note counts over a chord if it sounds where the chord begins, or during at least one beat of it:
the notes that an accompanist avoids, without passing notes. Tied notes are one note. Common
practice, no source.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate

from shortway.core.cancellation import checkpoint
from shortway.scores.leadsheet.chord_placement import MeasureTiming
from shortway.scores.leadsheet.part_reader import PartMeasure


@dataclass(slots=True)
class TiedNote:
    """A note with all its ties, in quarter notes from the start of the sheet."""

    start: Fraction
    end: Fraction
    midi: int


ChordSpan = tuple[Fraction, Fraction]


def melody_over_chords(
    measures: Sequence[PartMeasure],
    timings: Sequence[MeasureTiming],
    spans: Sequence[Sequence[ChordSpan]],
) -> list[list[tuple[int, ...]]]:
    """The MIDI numbers over each chord of each measure, ascending.

    The arguments have shape (measures,); `spans` has the begin and end of each chord in quarter
    notes from the start of its measure.
    """
    starts = list(accumulate((timing.length for timing in timings), initial=Fraction(0)))
    found: list[list[set[int]]] = [[set() for _ in measure] for measure in spans]
    for held in _join_ties(measures, starts):
        checkpoint()
        first = max(bisect_right(starts, held.start) - 1, 0)
        last = min(bisect_left(starts, held.end), len(measures))
        for index in range(first, last):
            at, beat = starts[index], timings[index].beat
            for chord, (begin, end) in enumerate(spans[index]):
                at_start = held.start <= at + begin < held.end
                shared = min(held.end, at + end) - max(held.start, at + begin)
                if at_start or shared >= beat:
                    found[index][chord].add(held.midi)
    return [[tuple(sorted(notes)) for notes in measure] for measure in found]


def _join_ties(measures: Sequence[PartMeasure], starts: Sequence[Fraction]) -> list[TiedNote]:
    held: list[TiedNote] = []
    open_: dict[int, TiedNote] = {}
    for measure, start in zip(measures, starts, strict=False):
        for sound in sorted(measure.sounds, key=lambda sound: sound.onset):
            begin, end = start + sound.onset, start + sound.onset + sound.length
            before = open_.get(sound.midi)
            if sound.tied_from and before and before.end == begin:
                before.end = end
                note = before
            else:
                note = TiedNote(begin, end, sound.midi)
                held.append(note)
            if sound.tied_to:
                open_[sound.midi] = note
            else:
                open_.pop(sound.midi, None)
    return held
