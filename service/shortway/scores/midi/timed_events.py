"""What is struck, at the times at which it sounds: swung, ties joined, short notes short.

Knows music and no format. `struck_notes`, `root_notes` and `clicks` have exact quarter notes,
`timed_events` seconds. A count-in comes before the music, whose times begin after it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator
from fractions import Fraction
from functools import cache, lru_cache
from typing import Final, NamedTuple

from shortway.core.cancellation import checkpoint
from shortway.core.rhythm.onsets import swing_position
from shortway.core.theory.pitch import pitch_class
from shortway.scores.notation.model import STAVES, Score, Sonority, Staff, quarters_per_beat
from shortway.scores.sound import ROOT_VELOCITY, velocity

#: Decimals of a time in seconds.
_MICROSECOND: Final = 6
#: How much of a staccato note sounds, usually half to three quarters (common practice, no source).
_STACCATO: Final = Fraction(2, 3)
#: The lowest root: A1, in the low octave of a double bass.
_LOWEST_ROOT: Final = 33


class StruckNote(NamedTuple):
    """A key struck at `begin` and held to `end`, in quarter notes, for the path's `step`."""

    midi: int
    begin: Fraction
    end: Fraction
    step: int
    velocity: int


class TimedEvent(NamedTuple):
    """A key struck, in seconds from the beginning: what a synthesizer is told.

    `step` is the path's; `hand` is None for a root.
    """

    time: float
    duration: float
    midi: int
    velocity: int
    hand: Staff | None
    step: int


def timed_events(music: Score) -> list[TimedEvent]:
    """What both hands strike, by time, then from low to high."""
    hands = struck_notes(music).items()
    found = [event for staff, notes in hands for event in _timed(music, notes, staff)]
    return sorted(found, key=lambda event: (event.time, event.midi))


def timed_roots(music: Score) -> list[TimedEvent]:
    """The roots, by time."""
    return list(_timed(music, root_notes(music), None))


def _timed(music: Score, notes: list[StruckNote], hand: Staff | None) -> Iterator[TimedEvent]:
    start = count_in_length(music)
    for note in notes:
        step = music.path.steps[note.step].step.number
        time, length = seconds(music, start + note.begin), seconds(music, note.end - note.begin)
        yield TimedEvent(time, length, note.midi, note.velocity, hand, step)


def seconds(music: Score, quarters: Fraction) -> float:
    """Quarter notes in seconds."""
    return round(float(quarters * 60 / Fraction(music.tempo)), _MICROSECOND)


def struck_notes(music: Score) -> dict[Staff, list[StruckNote]]:
    """What the hands strike, by staff."""
    sounds = _sounding(_swing(music))
    return {staff: _struck(music, staff, sounds) for staff in STAVES}


def _struck(
    music: Score, staff: Staff, sounds: Callable[[Sonority], tuple[Fraction, Fraction]]
) -> list[StruckNote]:
    found: list[StruckNote] = []
    open_at: dict[str, int] = {}
    for span in music.hand(staff):
        checkpoint()
        before, open_at = open_at if span.held else {}, {}
        begin, end = sounds(span)
        loudness = _loudness(music, span, staff)
        for note, loud in zip(span.notes, loudness, strict=True):
            if before and note.note in span.held and note.note in before:
                at = before[note.note]
                found[at] = found[at]._replace(end=end)
            else:
                at = len(found)
                found.append(StruckNote(note.midi, begin, end, span.step, loud))
            open_at[note.note] = at
    return found


def _sounding(
    swung: Callable[[Fraction], Fraction],
) -> Callable[[Sonority], tuple[Fraction, Fraction]]:
    """When a sonority begins and ends; both hands mostly share these times."""
    known: dict[tuple[int, int, int], tuple[Fraction, Fraction]] = {}

    def sounds(span: Sonority) -> tuple[Fraction, Fraction]:
        key = span.step, span.begin.numerator, span.begin.denominator
        found = known.get(key) if span.articulation == "staccato" else None
        if found is None:
            begin, end = swung(span.begin), swung(span.end)
            if span.articulation == "staccato":
                end = _staccato_end(begin, end)
            found = known[key] = begin, end
        return found

    return sounds


def _staccato_end(begin: Fraction, end: Fraction) -> Fraction:
    """``begin + (end - begin) * _STACCATO``, reduced once."""
    (a, b), (c, d), (p, q) = (t.as_integer_ratio() for t in (begin, end, _STACCATO))
    return Fraction(a * d * (q - p) + c * b * p, b * d * q)


def _loudness(music: Score, span: Sonority, staff: Staff) -> tuple[int, ...]:
    voicing = music.path.steps[span.step].voicing
    voices = len(voicing.left) + len(voicing.right) if voicing else 0
    first = voices - len(span.notes) if staff == "right" else 0
    accent = span.early or span.articulation == "staccato"
    return _velocities(first, len(span.notes), voices, accent)


@lru_cache(maxsize=256)
def _velocities(first: int, count: int, voices: int, accent: bool) -> tuple[int, ...]:
    return tuple(velocity(k, voices, accent=accent) for k in range(first, first + count))


def root_notes(music: Score) -> list[StruckNote]:
    """The bass note of each chord, or its root, where the path assumes a bass player."""
    if not music.path.setting.bass_player:
        return []
    sounds, found = _swing(music), []
    ends = [*(of.step.onset for of in music.path.steps[1:]), music.end]
    for k, (of, end) in enumerate(zip(music.path.steps, ends, strict=True)):
        name = of.step.chord.bass or of.step.chord.root
        if name is not None and of.step.chord.root is not None:
            midi = _LOWEST_ROOT + (pitch_class(name) - _LOWEST_ROOT) % 12
            found.append(StruckNote(midi, sounds(of.step.onset), sounds(end), k, ROOT_VELOCITY))
    return found


def count_in_length(music: Score) -> Fraction:
    """Quarter notes of the count-in: a measure, and what a pickup leaves of its own."""
    first = music.bars[0]
    full = first.meter[0] * quarters_per_beat(first.meter)
    return full + first.onset - first.start if music.sound.count_in else Fraction(0)


def clicks(music: Score) -> list[Fraction]:
    """The beats of the count-in; those of 6/8, 9/8 and 12/8 are dotted quarters."""
    beats, unit = music.bars[0].meter
    beat = quarters_per_beat((beats, unit)) * (3 if unit == 8 and beats % 3 == 0 else 1)
    return [k * beat for k in range(-int(-count_in_length(music) // beat))]


def _swing(music: Score) -> Callable[[Fraction], Fraction]:
    """The sounding time of a notated one; only meters in quarter notes swing."""
    if music.swing == 1:
        return lambda time: time
    starts = [bar.onset for bar in music.bars]
    on_beats = all(bar.end.denominator == 1 for bar in music.bars)
    swings = all(bar.meter[1] == 4 for bar in music.bars)

    @cache
    def late(numerator: int, denominator: int) -> Fraction:
        return swing_position(Fraction(numerator, denominator), music.swing)

    def swung(time: Fraction) -> Fraction:
        over, under = time.as_integer_ratio()
        if on_beats and (under == 1 or swings):
            return time if under == 1 else over // under + late(over % under, under)
        bar = music.bars[bisect_right(starts, time) - 1]
        if bar.meter[1] != 4:
            return time
        # from the end, because a pickup may begin off the beat
        beat = bar.end + (time - bar.end) // 1
        return beat + swing_position(time - beat, music.swing)

    known: dict[tuple[int, int], Fraction] = {}

    def remembered(time: Fraction) -> Fraction:
        key = time.as_integer_ratio()
        found = known.get(key)
        if found is None:
            found = known[key] = swung(time)
        return found

    return remembered
