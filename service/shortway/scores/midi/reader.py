"""The notes of a Standard MIDI File: when each is struck and how long it sounds, exactly.

Knows mido and the core's errors; no chart. Times are ticks, quarter notes and seconds as exact
fractions; the sustain pedal holds what is let go while it is down.
"""

from __future__ import annotations

import io
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import accumulate, pairwise
from typing import Any, Final

import mido
from mido.midifiles.meta import KeySignatureError

from shortway.core.errors import MidiError

#: Most bytes of a file: some six hours of comping.
MAX_BYTES: Final = 256 * 1024
#: Microseconds a quarter note before the first tempo of a file (MIDI 1.0: 120 a minute).
_DEFAULT_TEMPO: Final = 500_000
#: The channel that General MIDI keeps for drums, counted from 1.
DRUM_CHANNEL: Final = 10
_PEDAL: Final = 64
#: Bytes with the highest bit set that can stand in a row, each read by itself: a status, a type,
#: and all but the last of the four that a number has at most (Standard MIDI Files 1.0).
_MOST_HIGH: Final = 5
_DAMAGE: Final = (
    OSError, ValueError, LookupError, TypeError, AttributeError, KeySignatureError,
)  # fmt: skip
_EXPECTED: Final = "a Standard MIDI File of format 0 or 1, in ticks a quarter note"


@dataclass(frozen=True, slots=True)
class MidiNote:
    """A note: when it is struck, and when it is heard no more, in ticks."""

    onset: int
    end: int
    midi: int


@dataclass(frozen=True)
class Recording:
    """What a file holds.

    Attributes
    ----------
    notes : tuple of Struck
        In the order of their onsets, the lowest first.
    division : int
        Ticks of a quarter note.
    tempi : tuple of (int, int)
        Ticks from which on so many microseconds are a quarter note, ascending, the first from 0.
    """

    notes: tuple[MidiNote, ...]
    division: int
    tempi: tuple[tuple[int, int], ...]

    def quarters(self, tick: int) -> Fraction:
        """Quarter notes of the file from its beginning."""
        return Fraction(tick, self.division)

    def seconds(self, tick: int) -> Fraction:
        """Seconds from the beginning of the file, by its own tempo map."""
        k = bisect_right(self._changes, tick) - 1
        start, tempo = self.tempi[k]
        return self._begins[k] + Fraction((tick - start) * tempo, self.division * 1_000_000)

    @cached_property
    def _changes(self) -> list[int]:
        """The ticks at which a tempo begins."""
        return [start for start, _ in self.tempi]

    @cached_property
    def _begins(self) -> list[Fraction]:
        """The seconds at which a tempo begins."""
        spans = (
            Fraction((after - start) * tempo, self.division * 1_000_000)
            for (start, tempo), (after, _) in pairwise(self.tempi)
        )
        return list(accumulate(spans, initial=Fraction(0)))


def read_midi(data: bytes, channels: Sequence[int] | None = None) -> Recording:
    """The notes of a Standard MIDI File.

    Parameters
    ----------
    channels : sequence of int, optional
        Channels from 1 to 16 whose notes count; all but that of the drums where not given.

    Raises
    ------
    MidiError
        If the file is empty, damaged, too large, of another kind, or has no notes; no pointer.
    """
    if not data:
        raise _error("the MIDI file is empty")
    if len(data) > MAX_BYTES:
        raise _error(f"the MIDI file has {len(data):,} bytes", f"at most {MAX_BYTES:,}")
    file = _parsed(data)
    wanted = set(range(1, 17)) - {DRUM_CHANNEL} if channels is None else set(channels)
    tracks = [list(_timed(track)) for track in file.tracks]
    # Sorted by tick alone, so that what comes first in a track stays first.
    events = sorted((event for track in tracks for event in track), key=lambda event: event[0])
    last = max((tick for tick, _ in events), default=0)
    notes = _notes((e for e in events if getattr(e[1], "channel", -1) + 1 in wanted), last)
    if not notes:
        raise _error("the MIDI file has no notes", "notes on a channel that is read")
    return Recording(notes, file.ticks_per_beat, _tempi(events))


def _error(detail: str, expected: str = _EXPECTED) -> MidiError:
    return MidiError.at("", detail, expected=expected)


class _Bytes(io.BytesIO):
    """A file of which no number goes on for longer than it may: mido would take any time for it."""

    _high = 0

    def read(self, size: int | None = -1, /) -> bytes:
        found = super().read(size)
        self._high = self._high + 1 if size == 1 and found >= b"\x80" else 0
        if self._high > _MOST_HIGH:
            raise OSError("a number has more than four bytes")
        return found


def _parsed(data: bytes) -> mido.MidiFile:
    try:
        file = mido.MidiFile(file=_Bytes(data))
    except EOFError:
        raise _error("the MIDI file is truncated") from None
    except _DAMAGE as error:
        raise _error(f"cannot read the MIDI file: {str(error)[:80]}") from None
    if file.type not in (0, 1):
        raise _error("the MIDI file has format 2, which has no common time")
    if file.ticks_per_beat <= 0:
        raise _error("the MIDI file has SMPTE time, not beats")
    return file


def _timed(track: Iterable[Any]) -> Iterator[tuple[int, Any]]:
    tick = 0
    for message in track:
        tick += message.time
        yield tick, message


def _tempi(events: Iterable[tuple[int, Any]]) -> tuple[tuple[int, int], ...]:
    tempi = {0: _DEFAULT_TEMPO}
    tempi |= {tick: message.tempo for tick, message in events if message.type == "set_tempo"}
    return tuple(sorted(tempi.items()))


def _notes(events: Iterable[tuple[int, Any]], last: int) -> tuple[MidiNote, ...]:
    """The notes of `events`; what is never let go sounds to the tick `last`."""
    keys = _Keys()
    for tick, message in events:
        if message.type == "note_on" and message.velocity:
            keys.strike(tick, message.channel, message.note)
        elif message.type in ("note_on", "note_off"):
            keys.release(tick, message.channel, message.note)
        elif message.type == "control_change" and message.control == _PEDAL:
            keys.tread(tick, message.channel, down=message.value >= _PEDAL)
    keys.silence(last)
    return tuple(sorted(keys.done, key=lambda note: (note.onset, note.midi, note.end)))


class _Keys:
    """The keys that are down, and those that only the pedal keeps sounding."""

    def __init__(self) -> None:
        self.done: list[MidiNote] = []
        self._sounding: dict[tuple[int, int], int] = {}
        self._let_go: set[tuple[int, int]] = set()
        self._pedals: set[int] = set()

    def strike(self, tick: int, channel: int, note: int) -> None:
        """A key goes down; what it sounded before ends."""
        self._end(tick, (channel, note))
        self._sounding[channel, note] = tick

    def release(self, tick: int, channel: int, note: int) -> None:
        """A key comes up."""
        if channel in self._pedals:
            self._let_go.add((channel, note))
        else:
            self._end(tick, (channel, note))

    def tread(self, tick: int, channel: int, *, down: bool) -> None:
        """The pedal goes down or comes up."""
        if down:
            self._pedals.add(channel)
            return
        self._pedals.discard(channel)
        for key in [key for key in self._let_go if key[0] == channel]:
            self._end(tick, key)

    def silence(self, tick: int) -> None:
        """Everything ends."""
        for key in list(self._sounding):
            self._end(tick, key)

    def _end(self, tick: int, key: tuple[int, int]) -> None:
        self._let_go.discard(key)
        onset = self._sounding.pop(key, None)
        if onset is not None:
            self.done.append(MidiNote(onset, tick, key[1]))
