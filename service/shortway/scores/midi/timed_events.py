"""What is struck, at the times at which it sounds: swung, ties joined, short notes short.

Knows music and no format. `struck_notes`, `root_notes` and `clicks` have exact quarter notes,
`timed_events` seconds. A count-in comes before the music, whose times begin after it.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterator
from fractions import Fraction
from functools import cache, lru_cache
from itertools import accumulate, pairwise
from typing import Final, NamedTuple

from shortway.core.cancellation import checkpoint
from shortway.core.rhythm.onsets import swing_position
from shortway.core.theory.pitch import pitch_class
from shortway.scores.notation.model import STAVES, Score, Sonority, Staff
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
    elapsed = seconds(music)
    for note in notes:
        step = music.path.steps[note.step].step.number
        begin = elapsed(note.begin)
        time, length = to_microseconds(begin), to_microseconds(elapsed(note.end) - begin)
        yield TimedEvent(time, length, note.midi, note.velocity, hand, step)


def seconds(music: Score) -> Callable[[Fraction], Fraction]:
    """The seconds before a place of the music in quarter notes, the count-in with them."""
    places = [music.quarters(tick) for tick, _ in music.tempi]
    lengths = [60 / Fraction(tempo) for _, tempo in music.tempi]
    spans = [
        (after - at) * each for (at, after), each in zip(pairwise(places), lengths, strict=False)
    ]
    starts = list(accumulate(spans, initial=count_in_length(music) * lengths[0]))

    def elapsed(quarters: Fraction) -> Fraction:
        k = max(0, bisect_right(places, quarters) - 1)
        return starts[k] + (quarters - places[k]) * lengths[k]

    return elapsed


def to_microseconds(time: Fraction) -> float:
    """Seconds rounded to microseconds."""
    return round(float(time), _MICROSECOND)


def struck_notes(music: Score) -> dict[Staff, list[StruckNote]]:
    """What the hands strike, by staff."""
    sounds = _sounding(_swing(music))
    return {staff: _struck(music, staff, sounds) for staff in STAVES}


def _struck(
    music: Score, staff: Staff, sounds: Callable[[int, int, bool], tuple[Fraction, Fraction]]
) -> list[StruckNote]:
    found: list[StruckNote] = []
    open_at: dict[str, int] = {}
    for span in music.hand(staff):
        checkpoint()
        before, open_at = open_at if span.held else {}, {}
        begin, end = sounds(span.begin, span.end, span.articulation == "staccato")
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
    swung: Callable[[int], Fraction],
) -> Callable[[int, int, bool], tuple[Fraction, Fraction]]:
    """When what is notated from one tick to another sounds, short or not; both hands mostly share
    these times."""

    @cache
    def sounds(begin: int, end: int, short: bool) -> tuple[Fraction, Fraction]:
        first, last = swung(begin), swung(end)
        return first, _staccato_end(first, last) if short else last

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
    swung, found = _swing(music), []
    ends = [*(sign.onset for sign in music.signs[1:]), music.end]
    for k, ((onset, chord), end) in enumerate(zip(music.signs, ends, strict=True)):
        name = chord.bass or chord.root
        if name is not None and chord.root is not None:
            midi = _LOWEST_ROOT + (pitch_class(name) - _LOWEST_ROOT) % 12
            found.append(StruckNote(midi, swung(onset), swung(end), k, ROOT_VELOCITY))
    return found


def count_in_length(music: Score) -> Fraction:
    """Quarter notes of the count-in: a measure, and what a pickup leaves of its own."""
    first, (beats, unit) = music.bars[0], music.bars[0].meter
    short = music.quarters(first.onset - first.start)
    return Fraction(4 * beats, unit) + short if music.sound.count_in else Fraction(0)


def clicks(music: Score) -> list[Fraction]:
    """The beats of the count-in; those of 6/8, 9/8 and 12/8 are dotted quarters."""
    beats, unit = music.bars[0].meter
    beat = Fraction(4, unit) * (3 if unit == 8 and beats % 3 == 0 else 1)
    return [k * beat for k in range(-int(-count_in_length(music) // beat))]


def _swing(music: Score) -> Callable[[int], Fraction]:
    """The sounding time, in quarter notes, of a notated one; only meters in quarter notes swing."""
    ticks, starts = music.ticks, [bar.onset for bar in music.bars]

    @cache
    def late(place: int) -> tuple[int, int]:
        return swing_position(music.quarters(place), music.swing).as_integer_ratio()

    @cache
    def swung(time: int) -> Fraction:
        bar = music.bars[bisect_right(starts, time) - 1]
        # from the end, because a pickup may begin off the beat
        place = (time - bar.end) % ticks
        if not place or music.swing == 1 or bar.meter[1] != 4:
            return music.quarters(time)
        over, under = late(place)
        return Fraction((time - place) * under + over * ticks, ticks * under)

    return swung
