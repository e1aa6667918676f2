"""Standard MIDI File writer: a track for each hand.

Knows music and mido. Format 1, `TICKS` a quarter note. The first track, the right hand's, also has
tempo, meters, keys and the title. Each hand has its own channel, so that a key that passes from
hand to hand is released by one before the other strikes it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from io import BytesIO
from typing import Final

import mido

from shortway.core.cancellation import checkpoint
from shortway.core.theory.pitch import note_at_fifths
from shortway.scores.midi.timed_events import StruckNote, struck_notes
from shortway.scores.notation.key_signatures import key_fifths
from shortway.scores.notation.model import STAVES, Score
from shortway.scores.notation.piano_part import VELOCITY

TICKS: Final = 480
#: General MIDI's acoustic grand piano, counted from 0.
_PROGRAM: Final = 0
_MINUTE: Final = 60_000_000

#: Tick, order within the tick, and message.
Timed = tuple[int, int, mido.Message]


def write_midi(music: Score) -> bytes:
    """The MIDI file of `music`.

    Each exact time is rounded to its tick, so that errors do not add up; a note shorter than half
    a tick is left out.
    """
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS, charset="utf-8")
    for channel, staff in enumerate(STAVES):
        events: list[Timed] = [
            (0, 0, mido.MetaMessage("track_name", name=f"Piano, {staff} hand")),
            (0, 1, mido.Message("program_change", channel=channel, program=_PROGRAM)),
            *_notes(struck_notes(music, staff), channel),
            *(_plan(music) if channel == 0 else ()),
        ]
        file.tracks.append(_track(events, to_ticks(music.end)))
    buffer = BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def to_ticks(time: Fraction) -> int:
    """A time in quarter notes rounded to ticks.

    >>> to_ticks(Fraction(4, 3)), to_ticks(Fraction(1))
    (640, 480)
    """
    return round(time * TICKS)


def _plan(music: Score) -> Iterator[Timed]:
    """Title, tempo, and the changes of meter and key."""
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
            sharps, mode = key_fifths(key)
            minor = mode == "minor"
            name = note_at_fifths(sharps + 3 * minor) + "m" * minor
            yield at, 0, mido.MetaMessage("key_signature", key=name)


def _notes(struck: Sequence[StruckNote], channel: int) -> Iterator[Timed]:
    """Note messages; at one tick note-off precedes note-on."""
    for note in struck:
        checkpoint()
        on, off = to_ticks(note.begin), to_ticks(note.end)
        if on < off:
            message = {"channel": channel, "note": note.midi}
            yield on, 3, mido.Message("note_on", velocity=VELOCITY, **message)
            yield off, 2, mido.Message("note_off", velocity=0, **message)


def _track(events: Sequence[Timed], end: int) -> mido.MidiTrack:
    track, now = mido.MidiTrack(), 0
    for at, _, message in sorted(events, key=lambda event: event[:2]):
        checkpoint()
        track.append(message.copy(time=at - now))
        now = at
    track.append(mido.MetaMessage("end_of_track", time=max(0, end - now)))
    return track
