"""A MIDI performance aligned with the steps of a chart.

Knows recordings, charts and the input of a review. Times are quarter notes as exact fractions: of
the file itself, or, for a recording without a click, of the caller's tempo map, which converts the
file's seconds.

A note belongs to the step within whose beats it is struck. Struck less than `early` before the next
step it is an anticipation and belongs to that step (in a short step: within its second half). A
note that sounds through more than half of a later step belongs to that step, too.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import accumulate, pairwise, takewhile
from typing import Final

from shortway.core.charts import Chart, Step, unroll
from shortway.core.errors import MidiError
from shortway.core.review.input import HIGHEST_KEY, LOWEST_KEY, MOST_PLAYED, Played
from shortway.core.theory.pitch import pitch_name
from shortway.scores.midi.reader import Recording, read_midi

#: The default of `Alignment.early`: an eighth note.
EARLY: Final = Fraction(1, 2)

TempoMap = tuple[tuple[Fraction, Fraction], ...]


@dataclass(frozen=True, slots=True)
class Alignment:
    """How a recording is aligned with a chart.

    `start` is the beginning of the chart in quarter notes of the recording; `early` is how much
    before its step a note may be struck. `tempo_map` has quarter note and tempo (quarter notes a
    minute) of each change, ascending, the first at 0; empty: the file's own beats. Only notes of
    `channels` count, from 1 to 16; None: all but the drums.
    """

    start: Fraction = Fraction(0)
    early: Fraction = EARLY
    tempo_map: TempoMap = ()
    channels: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True)
class Performance:
    """The notes played at each step; how many notes lie within the chart, and how many outside.

    `timing` has the first onset of each step, in quarter notes after the step begins; None: no note
    is struck.
    """

    played: Played
    taken: int
    left_out: int
    timing: tuple[Fraction | None, ...] = ()


@dataclass(frozen=True, slots=True)
class PerformedNote:
    """A note: onset and end in quarter notes of the performance, and its MIDI number."""

    onset: Fraction
    end: Fraction
    midi: int


def align_performance(chart: Chart, data: bytes, alignment: Alignment | None = None) -> Performance:
    """The notes of a MIDI file at each step of a chart.

    Raises MidiError if the file cannot be read or has no notes, if no note is within the chart, if
    one within it is not on the keyboard, or if a step has too many notes for a review; no pointer.
    """
    how = alignment or Alignment()
    notes = notes_in_quarters(read_midi(data, how.channels), how.tempo_map)
    steps = unroll(chart)
    spans = StepSpans.of(chart, steps, how)
    keys: list[set[int]] = [set() for _ in steps]
    onsets: dict[int, Fraction] = {}
    taken = 0
    for note in notes:
        struck = spans.of_onset(note.onset)
        if struck is None:
            continue
        taken += 1
        _check_key(note)
        after = note.onset - spans.bounds[struck]
        onsets[struck] = min(after, onsets.get(struck, after))
        for k in (struck, *spans.held(struck, note.end)):
            keys[k].add(note.midi)
    if not taken:
        detail = "no note of the MIDI file is within the chart"
        first = min(note.onset for note in notes)
        raise _error(detail, f"another start; the first note is at quarter note {float(first):g}")
    for step, found in zip(steps, keys, strict=True):
        if len(found) > MOST_PLAYED:
            detail = f"{len(found)} notes are played at {step.symbol} in measure {step.measure}"
            wanted = "another start or tempo_map, or the pianist's channel"
            raise _error(detail, f"at most {MOST_PLAYED}: {wanted}")
    played = tuple(tuple(sorted(found)) for found in keys)
    timing = tuple(onsets.get(k) for k in range(len(steps)))
    return Performance(played, taken, len(notes) - taken, timing)


def _error(detail: str, expected: str) -> MidiError:
    return MidiError.at("", detail, expected=expected)


def _check_key(note: PerformedNote) -> None:
    if not LOWEST_KEY <= note.midi <= HIGHEST_KEY:
        name, at = pitch_name(note.midi), float(note.onset)
        detail = f"{name} at quarter note {at:g} is not on the keyboard (MIDI {note.midi})"
        raise _error(detail, "A0 to C8, or the channels of the pianist alone")


def notes_in_quarters(recording: Recording, tempo_map: TempoMap = ()) -> tuple[PerformedNote, ...]:
    """The notes of a recording, in quarter notes of the file or of `tempo_map`."""
    spans = [60 * (after - at) / tempo for (at, tempo), (after, _) in pairwise(tempo_map)]
    starts = list(accumulate(spans, initial=Fraction(0)))  # seconds

    @cache
    def quarters(tick: int) -> Fraction:
        if not tempo_map:
            return recording.quarters(tick)
        seconds = recording.seconds(tick)
        k = max(0, bisect_right(starts, seconds) - 1)
        at, tempo = tempo_map[k]
        return at + (seconds - starts[k]) * tempo / 60

    return tuple(PerformedNote(quarters(n.onset), quarters(n.end), n.midi) for n in recording.notes)


@dataclass(frozen=True, slots=True)
class StepSpans:
    """The times of the steps, in quarter notes of the performance.

    `bounds` (shape (steps + 1,)) has the beginning of each step and the end of the last; `opens`
    (shape (steps,)) the earliest onset of the notes of each step.
    """

    bounds: tuple[Fraction, ...]
    opens: tuple[Fraction, ...]

    @classmethod
    def of(cls, chart: Chart, steps: Sequence[Step], how: Alignment) -> StepSpans:
        """The spans of a chart's steps."""
        lengths = [step.beats * Fraction(4, chart.meter_at(step.measure)[1]) for step in steps]
        bounds = tuple(accumulate(lengths, initial=how.start))
        before = [how.early, *(min(how.early, length / 2) for length in lengths)]
        opens = [begin - room for begin, room in zip(bounds[:-1], before, strict=False)]
        return cls(bounds, tuple(opens))

    def of_onset(self, onset: Fraction) -> int | None:
        """The step of a note struck at `onset`; None: outside the chart."""
        if not self.opens[0] <= onset < self.bounds[-1]:
            return None
        return bisect_right(self.opens, onset) - 1

    def held(self, struck: int, end: Fraction) -> list[int]:
        """The steps after `struck` of which a note sounds through more than half."""
        later = range(struck + 1, len(self.opens))
        return list(takewhile(lambda k: 2 * end > self.bounds[k] + self.bounds[k + 1], later))
