"""The piano part: one MusicXML part on a grand staff, measure by measure.

Knows music, staves and clefs; not the score that the part stands in.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from typing import Final
from xml.etree.ElementTree import Element

from shortway.scores.notation import clefs, staves
from shortway.scores.notation.clefs import BASS, TREBLE, Clef
from shortway.scores.notation.durations import NoteValue
from shortway.scores.notation.elements import (
    add_child,
    direction_element,
    harmony_element,
    metronome_element,
    words_element,
)
from shortway.scores.notation.key_signatures import key_fifths
from shortway.scores.notation.model import (
    STAVES,
    PlacedSymbol,
    PlayedMeasure,
    Score,
    Staff,
    tied_into_next,
)
from shortway.scores.notation.staves import HandPart

#: MIDI velocity of every note: moderate, for sound comes out of headphones, too.
VELOCITY: Final = 64
#: MusicXML gives loudness in percent of this velocity.
_FORTE: Final = 90
#: Divisions of a quarter note that the whole part shares, as long as they are no more than this.
_MOST_DIVISIONS: Final = 20_160

_HOMES: Final = {"right": TREBLE, "left": BASS}
_VOICES: Final = {"right": 1, "left": 5}


@dataclass(frozen=True, slots=True)
class MeasureFrame:
    """What a measure is called, and the meter where it is a new one."""

    named: dict[str, str]
    times: tuple[Element, ...]


@dataclass(frozen=True, slots=True)
class PianoPart:
    """A part while it is written: pieces by staff and measure, divisions and clefs by measure."""

    music: Score
    parts: dict[Staff, HandPart]
    pieces: dict[Staff, list[list[NoteValue]]]
    divisions: list[int]
    clefs: dict[Staff, list[Clef]]


def piano_part_measures(
    music: Score, frames: Sequence[MeasureFrame] | None = None
) -> list[Element]:
    """The measures of the piano part.

    Parameters
    ----------
    frames : sequence of Frame, optional
        How each measure is framed where the part stands in a score; such a score says itself how
        fast it goes.

    Raises
    ------
    SettingError
        If a time is too fine for note values.
    """
    signs = _by_measure(music)
    made = _laid_out(music, signs)
    own = list(_frames(music.bars)) if frames is None else frames
    found = [_measure(made, place, signs[place], own[place]) for place in range(len(music.bars))]
    if frames is None:
        found[0].insert(1, _tempo(music.tempo))
    if music.swing != 1:
        place = next((k for k, e in enumerate(found[0]) if e.tag == "note"), len(found[0]))
        found[0].insert(
            place, direction_element(words_element("Swing"), placement="above", staff=1)
        )
    return found


def _frames(bars: Sequence[PlayedMeasure]) -> Iterator[MeasureFrame]:
    """The frames of a score of our own: numbers, pickup, each new meter."""
    meter = None
    for bar in bars:
        named = {"number": str(bar.number)} | ({"implicit": "yes"} if bar.pickup else {})
        yield MeasureFrame(named, (_time(bar.meter),) if bar.meter != meter else ())
        meter = bar.meter


def _time(meter: tuple[int, int]) -> Element:
    found = Element("time")
    add_child(found, "beats", meter[0])
    add_child(found, "beat-type", meter[1])
    return found


def _laid_out(music: Score, signs: Sequence[Sequence[PlacedSymbol]]) -> PianoPart:
    parts, found, keys = {}, {}, {}
    for number, staff in enumerate(STAVES, 1):
        spans = music.hand(staff)
        parts[staff] = HandPart(
            spans, tied_into_next(spans), number, _VOICES[staff], music.show.degrees
        )
        windows = list(_windows(music.bars, [(span.begin, span.end) for span in spans]))
        found[staff] = [
            staves.hand_note_values(bar, spans, window)
            for bar, window in zip(music.bars, windows, strict=True)
        ]
        names = [[n.note for i in window for n in spans[i].notes] for window in windows]
        keys[staff] = clefs.choose_clefs(names, _HOMES[staff])
    return PianoPart(music, parts, found, _divisions(music.bars, found, signs), keys)


def _windows(
    bars: Sequence[PlayedMeasure], times: Sequence[tuple[Fraction, Fraction]]
) -> Iterator[range]:
    """Which of the spans with these `times` sound in each measure."""
    first = 0
    for bar in bars:
        while first < len(times) and times[first][1] <= bar.onset:
            first += 1
        last = first
        while last < len(times) and times[last][0] < bar.onset + bar.length:
            last += 1
        yield range(first, last)


def _divisions(
    bars: Sequence[PlayedMeasure],
    found: dict[Staff, list[list[NoteValue]]],
    signs: Sequence[Sequence[PlacedSymbol]],
) -> list[int]:
    """Of each measure: the same for all, unless that would be very fine."""
    own = []
    for place, bar in enumerate(bars):
        times = [bar.length, bar.onset, *(sign.onset for sign in signs[place])]
        times += [p.end for staff in STAVES for p in found[staff][place]]
        times += [p.begin for staff in STAVES for p in found[staff][place]]
        own.append(lcm(*(time.denominator for time in times)))
    shared = lcm(*own)
    return [shared] * len(own) if shared <= _MOST_DIVISIONS else own


def _by_measure(music: Score) -> list[list[PlacedSymbol]]:
    """The symbols of each measure."""
    found: list[list[PlacedSymbol]] = [[] for _ in music.bars]
    place = 0
    for sign in music.signs if music.show.symbols else ():
        while sign.onset >= music.bars[place].onset + music.bars[place].length:
            place += 1
        found[place].append(sign)
    return found


def _measure(
    made: PianoPart, place: int, signs: Sequence[PlacedSymbol], frame: MeasureFrame
) -> Element:
    bar = made.music.bars[place]
    measure = Element("measure", frame.named)
    attributes = _attributes(made, place, frame.times)
    if len(attributes):
        measure.append(attributes)
    for staff in STAVES:
        if staff == "left":
            add_child(add_child(measure, "backup"), "duration", bar.length * made.divisions[place])
        measure.extend(list(_octave_signs(made, staff, place)))
        measure.extend(list(_staff(made, staff, place, signs if staff == "right" else ())))
    return measure


def _tempo(tempo: float) -> Element:
    loudness = f"{100 * VELOCITY / _FORTE:.2f}"
    return direction_element(
        metronome_element(tempo), placement="above", staff=1, tempo=f"{tempo:g}", dynamics=loudness
    )


def _attributes(made: PianoPart, place: int, times: Sequence[Element]) -> Element:
    """What is new in this measure, in the schema's order."""
    bars, divisions = made.music.bars, made.divisions
    bar, before = bars[place], bars[place - 1] if place else None
    found = Element("attributes")
    if before is None or divisions[place] != divisions[place - 1]:
        add_child(found, "divisions", divisions[place])
    if before is None or before.key != bar.key:
        sharps, mode = key_fifths(bar.key)
        key = add_child(found, "key")
        add_child(key, "fifths", sharps)
        add_child(key, "mode", mode)
    found.extend(times)
    if before is None:
        add_child(found, "staves", len(STAVES))
    for number, staff in enumerate(STAVES, 1):
        here = made.clefs[staff]
        if before is None or here[place].plain != here[place - 1].plain:
            clef = add_child(found, "clef", number=number)
            add_child(clef, "sign", here[place].sign)
            add_child(clef, "line", here[place].line)
    return found


def _octave_signs(made: PianoPart, staff: Staff, place: int) -> Iterator[Element]:
    """An 8va or 8vb that begins here; it ends where `_staff` says."""
    here = made.clefs[staff]
    octave = here[place].octave
    if octave and (place == 0 or here[place - 1].octave != octave):
        yield _octave_sign("down" if octave > 0 else "up", staff, octave)


def _octave_sign(kind: str, staff: Staff, octave: int) -> Element:
    shift = Element("octave-shift", {"type": kind, "size": "8"})
    where = "above" if octave > 0 else "below"
    return direction_element(shift, placement=where, staff=STAVES.index(staff) + 1)


def _staff(
    made: PianoPart, staff: Staff, place: int, signs: Sequence[PlacedSymbol]
) -> Iterator[Element]:
    """A hand's notes, each symbol before the note that it stands over."""
    bar, found, divisions = made.music.bars[place], made.pieces[staff][place], made.divisions[place]
    part, waiting = made.parts[staff], list(signs)
    start = bar.onset - staves.pickup_offset(bar)
    for piece, chord in staves.note_elements(bar, part, found, divisions):
        begin, end = start + piece.begin, start + piece.end
        while waiting and waiting[0].onset < end:
            sign = waiting.pop(0)
            yield harmony_element(sign.chord, int((sign.onset - begin) * divisions), staff=1)
        yield from chord
    here = made.clefs[staff]
    octave = here[place].octave
    if octave and (place + 1 == len(here) or here[place + 1].octave != octave):
        yield _octave_sign("stop", staff, octave)
