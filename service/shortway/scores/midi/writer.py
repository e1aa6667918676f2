"""Standard MIDI File writer (Standard MIDI Files 1.0, MMA 1996).

Knows music. Format 1, `TICKS` a quarter note. The first track has title, tempo, meters, keys and
sections; then come a track for each hand, the roots and the count-in. Each track has its own
channel, so that a key that passes from hand to hand is released by one before the other strikes it.
"""

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Final

from shortway.core.charts.headers import fit_meter
from shortway.scores.midi.timed_events import (
    StruckNote,
    clicks,
    count_in_length,
    root_notes,
    struck_notes,
)
from shortway.scores.notation.key_signatures import key_fifths
from shortway.scores.notation.model import Score
from shortway.scores.sound import CLICK_VELOCITY, PROGRAMS

TICKS: Final = 480
_MINUTE: Final = 60_000_000
#: General MIDI's acoustic bass, counted from 0, and side stick, a key of the percussion channel.
_BASS: Final = 32
_SIDE_STICK: Final = 37
#: Quarter notes of a click of the count-in.
_CLICK: Final = Fraction(1, 4)
#: Channels, counted from 0.
_ROOTS: Final = 2
_PERCUSSION: Final = 9
#: Meta events: title or track name, marker, tempo, meter, key.
_NAME, _MARKER, _TEMPO, _METER, _KEY = 0x03, 0x06, 0x51, 0x58, 0x59
_VOLUME: Final = 7

#: Tick, order within the tick (note-off before note-on), and message.
Timed = tuple[int, int, bytes]


def write_midi(music: Score) -> bytes:
    """The MIDI file of `music`.

    Each exact time is rounded to its tick, so that errors do not add up; a note shorter than half
    a tick is left out. A muted track has the channel volume (controller 7) 0.
    """
    start = count_in_length(music)
    end = to_ticks(start + music.quarters(music.end))
    tracks = [_chunk(_plan(music, start), end)]
    program, title = PROGRAMS[music.sound.program]
    for channel, (staff, struck) in enumerate(struck_notes(music).items()):
        opening = _opening(f"{title}, {staff} hand", channel, program)
        notes = _notes(struck, channel, start)
        tracks.append(_chunk([*opening, *notes], end))
    roots = root_notes(music) if music.sound.roots != "off" else []
    if roots:
        opening = _opening("Roots", _ROOTS, _BASS)
        if music.sound.roots == "muted":
            opening.append((0, 1, bytes((0xB0 | _ROOTS, _VOLUME, 0))))
        tracks.append(_chunk([*opening, *_notes(roots, _ROOTS, start)], end))
    if music.sound.count_in:
        beats = [StruckNote(_SIDE_STICK, t, t + _CLICK, 0, CLICK_VELOCITY) for t in clicks(music)]
        opening = [(0, 0, _meta(_NAME, b"Count-in"))]
        tracks.append(_chunk([*opening, *_notes(beats, _PERCUSSION, Fraction(0))], end))
    head = (6, 4), (1, 2), (len(tracks), 2), (TICKS, 2)
    return b"MThd" + b"".join(n.to_bytes(size) for n, size in head) + b"".join(tracks)


def to_ticks(time: Fraction) -> int:
    """A time in quarter notes rounded to ticks, a half to the even one.

    >>> to_ticks(Fraction(4, 3)), to_ticks(Fraction(1))
    (640, 480)
    """
    over, under = time.as_integer_ratio()
    whole, rest = divmod(over * TICKS, under)
    return whole + (2 * rest + whole % 2 > under)


def _plan(music: Score, start: Fraction) -> Iterator[Timed]:
    """Title, the changes of tempo, meter and key, the sections; meters count the count-in."""
    yield 0, 0, _meta(_NAME, (music.title or "Tempo").encode())
    for tick, tempo in music.tempi:
        at = to_ticks(start + music.quarters(tick)) if tick else 0
        yield at, 0, _meta(_TEMPO, round(_MINUTE / tempo).to_bytes(3))
    sections = {section.measure: section.name for section in music.chart.sections}
    meter, key = None, None
    for bar in music.bars:
        at = to_ticks(start + music.quarters(bar.onset)) if bar.onset else 0
        here = bar.meter
        if bar.pickup and not start:
            here = fit_meter(music.quarters(bar.end), bar.meter[1]) or here
        if here != meter:
            meter = here
            yield at, 0, _meta(_METER, _meter(*meter))
        if bar.key != key:
            key = bar.key
            sharps, mode = key_fifths(key)
            yield at, 0, _meta(_KEY, bytes((sharps & 0xFF, mode == "minor")))
        if bar.source in sections:
            yield (
                to_ticks(start + music.quarters(bar.onset)),
                0,
                _meta(_MARKER, sections[bar.source].encode()),
            )


def _meter(beats: int, unit: int) -> bytes:
    """A time signature: a click each quarter note (24 clocks), or dotted one; 8 32nds a quarter."""
    clocks = 36 if unit == 8 and beats % 3 == 0 else 24
    return bytes((beats, unit.bit_length() - 1, clocks, 8))


def _opening(name: str, channel: int, program: int) -> list[Timed]:
    return [(0, 0, _meta(_NAME, name.encode())), (0, 1, bytes((0xC0 | channel, program)))]


def _notes(struck: Iterable[StruckNote], channel: int, start: Fraction) -> Iterator[Timed]:
    """Note messages, in any order."""
    on, off, offset = 0x90 | channel, 0x80 | channel, to_ticks(start)
    times: tuple[Fraction, Fraction] | None = None
    begin = end = 0
    for note in struck:
        if times is None or note.begin is not times[0] or note.end is not times[1]:
            times = note.begin, note.end  # the notes of a chord share them
            begin, end = offset + to_ticks(note.begin), offset + to_ticks(note.end)
        if begin < end:
            yield begin, 3, bytes((on, note.midi, note.velocity))
            yield end, 2, bytes((off, note.midi, 0))


def _meta(kind: int, content: bytes) -> bytes:
    return bytes((0xFF, kind)) + _variable(len(content)) + content


def _chunk(events: Iterable[Timed], end: int) -> bytes:
    """A track: each event after the ticks since the one before; one that ends a note at a tick
    comes before one that begins one."""
    parts, now = list[bytes](), 0
    for at, _, message in sorted(events):
        parts += (_variable(at - now), message) if at != now else (b"\0", message)
        now = at
    content = b"".join((*parts, _variable(max(0, end - now)), bytes((0xFF, 0x2F, 0))))
    return b"MTrk" + len(content).to_bytes(4) + content


def _variable(number: int) -> bytes:
    """A variable-length quantity: seven bits a byte, the last one without its eighth.

    >>> [_variable(n).hex() for n in (0, 127, 128, 0x3FFF, 0x4000)]
    ['00', '7f', '8100', 'ff7f', '818000']
    """
    found = [number & 0x7F]
    while number := number >> 7:
        found.append(0x80 | number & 0x7F)
    return bytes(reversed(found))
