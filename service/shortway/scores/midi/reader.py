"""The notes of a Standard MIDI File, with exact times.

Knows mido and the core's errors; no chart. Times are ticks, quarter notes and seconds as exact
fractions. The sustain pedal prolongs notes.
"""

import io
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import accumulate
from operator import itemgetter
from typing import Any, Final

import mido
from mido.midifiles.meta import KeySignatureError

from shortway.core.errors import MidiError

#: About six hours of comping.
MAX_BYTES: Final = 256 * 1024
#: Microseconds a quarter note by default (MIDI 1.0: 120 a minute).
_DEFAULT_TEMPO: Final = 500_000
#: General MIDI's drum channel, counted from 1.
DRUM_CHANNEL: Final = 10
#: The controller of a channel's volume.
_VOLUME: Final = 7
#: The controller of the sustain pedal, and the least value at which it is down.
_PEDAL: Final = 64
#: The most successive single bytes with the highest bit set: a status, a type, and all but the last
#: of the at most four bytes of a number (Standard MIDI Files 1.0).
_MOST_HIGH: Final = 5
_DAMAGE: Final = (
    OSError, ValueError, LookupError, TypeError, AttributeError, KeySignatureError,
)  # fmt: skip
_EXPECTED: Final = "a Standard MIDI File of format 0 or 1, in ticks a quarter note"


@dataclass(frozen=True, slots=True)
class MidiNote:
    """A note: onset and end in ticks, and its MIDI number."""

    onset: int
    end: int
    midi: int


@dataclass(frozen=True)
class Recording:
    """The content of a MIDI file.

    `notes` are ordered by onset and pitch; `division` is ticks of a quarter note; `tempi` has tick
    and microseconds a quarter note of each tempo, ascending, the first at tick 0.
    """

    notes: tuple[MidiNote, ...]
    division: int
    tempi: tuple[tuple[int, int], ...]

    def quarters(self, tick: int) -> Fraction:
        """Quarter notes of the file from its beginning."""
        return Fraction(tick, self.division)

    def seconds(self, tick: int) -> Fraction:
        """Seconds from the beginning of the file, by its own tempo map."""
        at, seconds, tempo = self._tempo_starts[
            bisect_right(self._tempo_starts, tick, key=itemgetter(0)) - 1
        ]
        return seconds + Fraction((tick - at) * tempo, self.division * 1_000_000)

    @cached_property
    def _tempo_starts(self) -> list[tuple[int, Fraction, int]]:
        """Tick, seconds and tempo of each change of tempo."""
        found, before, seconds = [], self.tempi[0], Fraction(0)
        for at, tempo in self.tempi:
            seconds += Fraction((at - before[0]) * before[1], self.division * 1_000_000)
            before = at, tempo
            found.append((at, seconds, tempo))
        return found


def read_midi(data: bytes, channels: Sequence[int] | None = None) -> Recording:
    """The notes of a Standard MIDI File.

    Only notes of `channels` count, from 1 to 16; by default all but the drums and those whose
    volume is always 0.

    Raises MidiError if the file is empty, damaged, too large, of another format, or has no notes;
    no pointer.
    """
    if not data:
        raise _error("the MIDI file is empty")
    if len(data) > MAX_BYTES:
        raise _error(f"the MIDI file has {len(data):,} bytes", f"at most {MAX_BYTES:,}")
    file = _parsed(data)
    events: list[tuple[int, Any]] = []
    for track in file.tracks:
        ticks = accumulate(message.time for message in track)
        events += zip(ticks, track, strict=True)
    events.sort(key=itemgetter(0))  # stable: simultaneous events keep their order
    last = events[-1][0] if events else 0
    wanted = _audible(events) if channels is None else set(channels)
    notes = _notes((e for e in events if getattr(e[1], "channel", -1) + 1 in wanted), last)
    if not notes:
        raise _error("the MIDI file has no notes", "notes on a channel that is read")
    tempi = {0: _DEFAULT_TEMPO}
    tempi |= {tick: message.tempo for tick, message in events if message.type == "set_tempo"}
    return Recording(notes, file.ticks_per_beat, tuple(sorted(tempi.items())))


def _audible(events: Iterable[tuple[int, Any]]) -> set[int]:
    """The channels, from 1, but that of the drums and those whose volume is always 0."""
    volumes = [e for _, e in events if e.type == "control_change" and e.control == _VOLUME]
    muted = {e.channel + 1 for e in volumes} - {e.channel + 1 for e in volumes if e.value}
    return set(range(1, 17)) - {DRUM_CHANNEL} - muted


def _error(detail: str, expected: str = _EXPECTED) -> MidiError:
    return MidiError.at("", detail, expected=expected)


class _LimitedBytes(io.BytesIO):
    """A file that rejects overlong numbers, on which mido would spend unlimited time."""

    _high = 0

    def read(self, size: int | None = -1, /) -> bytes:
        found = super().read(size)
        self._high = self._high + 1 if size == 1 and found >= b"\x80" else 0
        if self._high > _MOST_HIGH:
            raise OSError("a number has more than four bytes")
        return found


def _parsed(data: bytes) -> mido.MidiFile:
    try:
        file = mido.MidiFile(file=_LimitedBytes(data))
    except EOFError:
        raise _error("the MIDI file is truncated") from None
    except _DAMAGE as error:
        raise _error(f"cannot read the MIDI file: {str(error)[:80]}") from None
    if file.type not in (0, 1):
        raise _error("the MIDI file has format 2, which has no common time")
    if file.ticks_per_beat <= 0:
        raise _error("the MIDI file has SMPTE time, not beats")
    return file


def _notes(events: Iterable[tuple[int, Any]], last: int) -> tuple[MidiNote, ...]:
    """The notes of `events`; one without an end lasts until the tick `last`."""
    done: list[MidiNote] = []
    sounding: dict[tuple[int, int], int] = {}
    released: set[tuple[int, int]] = set()  # keys that only the pedal prolongs
    pedals: set[int] = set()

    def end(tick: int, key: tuple[int, int]) -> None:
        released.discard(key)
        onset = sounding.pop(key, None)
        if onset is not None:
            done.append(MidiNote(onset, tick, key[1]))

    for tick, message in events:
        channel = message.channel
        if message.type == "note_on" and message.velocity:
            end(tick, (channel, message.note))
            sounding[channel, message.note] = tick
        elif message.type in ("note_on", "note_off"):
            if channel in pedals:
                released.add((channel, message.note))
            else:
                end(tick, (channel, message.note))
        elif message.type == "control_change" and message.control == _PEDAL:
            if message.value >= _PEDAL:
                pedals.add(channel)
                continue
            pedals.discard(channel)
            for key in [key for key in released if key[0] == channel]:
                end(tick, key)
    for key in list(sounding):
        end(last, key)
    return tuple(sorted(done, key=lambda note: (note.onset, note.midi, note.end)))
