"""What the hands strike, at the times at which it sounds: swung, ties joined.

Knows music and no format. `struck_notes` has exact quarter notes, `timed_events` seconds.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from shortway.core.cancellation import checkpoint
from shortway.core.rhythm.onsets import swing_position
from shortway.scores.notation.model import STAVES, Score, Sonority, Staff
from shortway.scores.notation.piano_part import VELOCITY

#: Decimals of a time in seconds.
_MICROSECOND: Final = 6


@dataclass(frozen=True, slots=True)
class StruckNote:
    """A key struck at `begin` and held to `end`, in quarter notes, for the path's `step`."""

    midi: int
    begin: Fraction
    end: Fraction
    step: int


@dataclass(frozen=True, slots=True)
class TimedEvent:
    """A key struck, in seconds from the beginning: what a synthesizer is told."""

    time: float
    duration: float
    midi: int
    velocity: int
    hand: Staff
    step: int


def timed_events(music: Score) -> list[TimedEvent]:
    """What both hands strike, by time, then from low to high."""

    def seconds(quarters: Fraction) -> float:
        return round(float(quarters * 60 / Fraction(music.tempo)), _MICROSECOND)

    found = [
        TimedEvent(
            seconds(note.begin),
            seconds(note.end - note.begin),
            note.midi,
            VELOCITY,
            staff,
            music.path.steps[note.step].step.number,
        )
        for staff in STAVES
        for note in struck_notes(music, staff)
    ]
    return sorted(found, key=lambda event: (event.time, event.midi))


def struck_notes(music: Score, staff: Staff) -> list[StruckNote]:
    """What the hand of `staff` strikes."""
    found: list[StruckNote] = []
    open_at: dict[str, int] = {}
    for span in _sounding(music, staff):
        checkpoint()
        before, open_at = open_at, {}
        for note in span.notes:
            if note.note in span.held and note.note in before:
                at = before[note.note]
                found[at] = replace(found[at], end=span.end)
            else:
                at = len(found)
                found.append(StruckNote(note.midi, span.begin, span.end, span.step))
            open_at[note.note] = at
    return found


def _sounding(music: Score, staff: Staff) -> Iterator[Sonority]:
    """What the hand of `staff` plays, swung."""
    for span in music.hand(staff):
        if music.swing == 1:
            yield span
        else:
            yield replace(span, begin=_swung(span.begin, music), end=_swung(span.end, music))


def _swung(time: Fraction, music: Score) -> Fraction:
    """The sounding time of a notated one; only meters in quarter notes swing."""
    bar = music.bars[bisect_right(music.bars, time, key=lambda bar: bar.onset) - 1]
    if bar.meter[1] != 4:
        return time
    beat = bar.end + (time - bar.end) // 1  # from the end, because a pickup may begin off the beat
    return beat + swing_position(time - beat, music.swing)
