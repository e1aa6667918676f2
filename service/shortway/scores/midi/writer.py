"""Standard MIDI File: music as sound, a track for each hand.

Knows music and mido, which is loaded with this module. Format 1, `TICKS` a quarter note; the first
track, the right hand's, also carries tempo, meters, keys and the title. Each hand has a channel of
its own, so that a key that goes from hand to hand is let go by one before it sounds from the other.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from io import BytesIO
from typing import Final

import mido

from shortway.core.cancellation import checkpoint
from shortway.core.rhythm.onsets import swing_position
from shortway.scores.notation.key_signatures import key_fifths
from shortway.scores.notation.model import STAVES, Score, Sonority, Staff
from shortway.scores.notation.piano_part import VELOCITY

TICKS: Final = 480
_NAMES: Final[dict[Staff, str]] = {"right": "Piano, right hand", "left": "Piano, left hand"}
_CHANNELS: Final[dict[Staff, int]] = {"right": 0, "left": 1}
#: General MIDI's acoustic grand piano, counted from 0.
_PROGRAM: Final = 0
_MINUTE: Final = 60_000_000
_MAJOR: Final = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
_MINOR: Final = ("Abm", "Ebm", "Bbm", "Fm", "Cm", "Gm", "Dm", "Am", "Em", "Bm", "F#m", "C#m",
                 "G#m", "D#m", "A#m")  # fmt: skip

#: A message with its time in ticks from the beginning.
Timed = tuple[int, int, mido.Message]


def write_midi(music: Score) -> bytes:
    """The file of `music`.

    Times are exact fractions until each is rounded to its tick, so that nothing drifts; a note
    shorter than half a tick is left out.
    """
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS, charset="utf-8")
    for staff in STAVES:
        spans = [_sounding(span, music) for span in music.hand(staff)]
        events = [*_opening(staff), *_notes(spans, _CHANNELS[staff])]
        if staff == STAVES[0]:
            events += _plan(music)
        file.tracks.append(_track(events, to_ticks(music.end)))
    held = BytesIO()
    file.save(file=held)
    return held.getvalue()


def _sounding(span: Sonority, music: Score) -> Sonority:
    """A span with the times at which it sounds: swung where the meter counts quarter notes."""
    if music.swing == 1:
        return span
    return replace(span, begin=_late(span.begin, music), end=_late(span.end, music))


def _late(time: Fraction, music: Score) -> Fraction:
    bar = music.bars[bisect_right(music.bars, time, key=lambda bar: bar.onset) - 1]
    if bar.meter[1] != 4:
        return time
    # counted from the end, so that a pickup lies on the beats of the measure that it leads into
    beat = bar.onset + bar.length + (time - bar.onset - bar.length) // 1
    return beat + swing_position(time - beat, music.swing)


def to_ticks(time: Fraction) -> int:
    """The tick nearest to a time in quarter notes.

    >>> to_ticks(Fraction(4, 3)), to_ticks(Fraction(1))
    (640, 480)
    """
    return round(time * TICKS)


def _opening(staff: Staff) -> Iterator[Timed]:
    yield 0, 0, mido.MetaMessage("track_name", name=_NAMES[staff])
    yield 0, 1, mido.Message("program_change", channel=_CHANNELS[staff], program=_PROGRAM)


def _plan(music: Score) -> Iterator[Timed]:
    """Title, tempo, and each meter and key where it begins."""
    if music.title:
        yield 0, 0, mido.MetaMessage("text", text=music.title)
    yield 0, 0, mido.MetaMessage("set_tempo", tempo=round(_MINUTE / music.tempo))
    meter, key = None, None
    for bar in music.bars:
        at = to_ticks(bar.onset)
        if bar.meter != meter:
            beats, unit = meter = bar.meter
            yield at, 0, mido.MetaMessage("time_signature", numerator=beats, denominator=unit)
        if bar.key != key:
            key = bar.key
            yield at, 0, mido.MetaMessage("key_signature", key=_key(key))


def _key(name: str) -> str:
    sharps, mode = key_fifths(name)
    return (_MINOR if mode == "minor" else _MAJOR)[sharps + 7]


def _notes(spans: Sequence[Sonority], channel: int) -> Iterator[Timed]:
    """Keys struck and let go; at one tick those let go come first."""
    for midi, begin, end in join_ties(spans):
        on, off = to_ticks(begin), to_ticks(end)
        if on < off:
            message = {"channel": channel, "note": midi}
            yield on, 3, mido.Message("note_on", velocity=VELOCITY, **message)
            yield off, 2, mido.Message("note_off", velocity=0, **message)


def join_ties(spans: Sequence[Sonority]) -> list[tuple[int, Fraction, Fraction]]:
    """Every key struck by a hand: MIDI number, when, and until when, ties joined."""
    found: list[tuple[int, Fraction, Fraction]] = []
    open_at: dict[str, int] = {}
    for span in spans:
        checkpoint()
        before, open_at = open_at, {}
        for note in span.notes:
            if note.note in span.held and note.note in before:
                at = before[note.note]
                found[at] = (note.midi, found[at][1], span.end)
            else:
                at = len(found)
                found.append((note.midi, span.begin, span.end))
            open_at[note.note] = at
    return found


def _track(events: Sequence[Timed], end: int) -> mido.MidiTrack:
    track, now = mido.MidiTrack(), 0
    for at, _, message in sorted(events, key=lambda event: event[:2]):
        track.append(message.copy(time=at - now))
        now = at
    track.append(mido.MetaMessage("end_of_track", time=max(0, end - now)))
    return track
