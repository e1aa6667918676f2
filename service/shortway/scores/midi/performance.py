"""Performance: a MIDI recording laid along a chart, by beat.

Knows recordings, charts and what a review takes; judges nothing. All times are quarter notes as
exact fractions: of the file itself, or, for a recording made without a click, of the caller's own
tempo map, through which the file's seconds are turned back into quarter notes.

A note belongs to the step within whose beats it is struck. Struck less than `early` before the next
step it belongs to that, as an anticipation does (in a short step: within its second half). A note
that sounds on through more than half of a step belongs to that step, too: held by finger or pedal.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate, pairwise
from typing import Final

from shortway.core.charts import Chart, Step, unroll
from shortway.core.errors import MidiError
from shortway.core.review.input import HIGHEST_KEY, LOWEST_KEY, MOST_PLAYED, Played
from shortway.core.theory.pitch import pitch_name
from shortway.scores.midi.reader import Recording, read_midi

#: How early a note may be struck, in quarter notes: an eighth note before the beat.
EARLY: Final = Fraction(1, 2)

TempoMap = tuple[tuple[Fraction, Fraction], ...]


@dataclass(frozen=True, slots=True)
class Alignment:
    """How a recording is laid along a chart.

    Attributes
    ----------
    start : Fraction
        Where the chart begins, in quarter notes from the beginning of the recording.
    early : Fraction
        How much before its step a note may be struck, in quarter notes.
    tempo_map : tuple of (Fraction, Fraction)
        From so many quarter notes on, so many quarter notes a minute, ascending, the first from 0.
        Empty: the file's own beats hold.
    channels : tuple of int or None
        Those whose notes count, from 1 to 16; None: all but that of the drums.
    """

    start: Fraction = Fraction(0)
    early: Fraction = EARLY
    tempo_map: TempoMap = ()
    channels: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True)
class Performance:
    """What was played at each step; how many notes that takes, and how many lie outside.

    `timing` is when the first note of each step is struck, in quarter notes after the step begins;
    None where none is.
    """

    played: Played
    taken: int
    left_out: int
    timing: tuple[Fraction | None, ...] = ()


@dataclass(frozen=True, slots=True)
class PerformedNote:
    """A note: when it is struck and when it ends, in quarter notes of the performance."""

    onset: Fraction
    end: Fraction
    midi: int


def align_performance(chart: Chart, data: bytes, alignment: Alignment | None = None) -> Performance:
    """What a MIDI file plays at each step of a chart.

    Raises
    ------
    MidiError
        If the file cannot be read or has no notes, if none of them is within the chart, if one
        that does is not on the keyboard, or if a step gets more than a review takes; no pointer.
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
        _check_count(step, found)
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


def _check_count(step: Step, keys: set[int]) -> None:
    if len(keys) > MOST_PLAYED:
        detail = f"{len(keys)} notes are played at {step.symbol} in measure {step.measure}"
        expected = f"at most {MOST_PLAYED}: another start or tempo_map, or the pianist's channel"
        raise _error(detail, expected)


# --- times ---------------------------------------------------------------------------------------


def notes_in_quarters(recording: Recording, tempo_map: TempoMap = ()) -> tuple[PerformedNote, ...]:
    """The notes of a recording in quarter notes: the file's own, or those of `tempo_map`."""
    if not tempo_map:
        return tuple(
            PerformedNote(recording.quarters(note.onset), recording.quarters(note.end), note.midi)
            for note in recording.notes
        )
    clock = _Clock.of(tempo_map)
    ticks = sorted({tick for note in recording.notes for tick in (note.onset, note.end)})
    at = {tick: clock.quarters(recording.seconds(tick)) for tick in ticks}
    return tuple(PerformedNote(at[note.onset], at[note.end], note.midi) for note in recording.notes)


@dataclass(frozen=True, slots=True)
class _Clock:
    """A tempo map with the seconds at which each tempo begins."""

    tempo_map: TempoMap
    starts: tuple[Fraction, ...]

    @classmethod
    def of(cls, tempo_map: TempoMap) -> _Clock:
        spans = [60 * (after - at) / tempo for (at, tempo), (after, _) in pairwise(tempo_map)]
        return cls(tempo_map, tuple(accumulate(spans, initial=Fraction(0))))

    def quarters(self, seconds: Fraction) -> Fraction:
        """The quarter note that is played at `seconds`."""
        k = max(0, bisect_right(self.starts, seconds) - 1)
        at, tempo = self.tempo_map[k]
        return at + (seconds - self.starts[k]) * tempo / 60


# --- steps ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class StepSpans:
    """When each step begins and when a note belongs to it, in quarter notes of the performance.

    Attributes
    ----------
    bounds : tuple of Fraction
        The beginning of each step, and the end of the last.
    opens : tuple of Fraction
        From when on a note that is struck belongs to each step.
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
        """The step that a note struck at `onset` belongs to."""
        if not self.opens[0] <= onset < self.bounds[-1]:
            return None
        return bisect_right(self.opens, onset) - 1

    def held(self, struck: int, end: Fraction) -> list[int]:
        """The steps after `struck` that a note sounds on through to more than their half."""
        held = []
        for k in range(struck + 1, len(self.opens)):
            if 2 * end <= self.bounds[k] + self.bounds[k + 1]:
                break
            held.append(k)
        return held
