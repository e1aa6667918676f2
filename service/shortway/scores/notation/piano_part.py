"""The piano part: one MusicXML part on a grand staff, measure by measure.

Knows music, staves and clefs; not the score that the part belongs to.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import lcm
from typing import Final
from xml.etree.ElementTree import Element

from shortway.scores.notation.clefs import BASS, TREBLE, choose_clefs
from shortway.scores.notation.elements import add_child, direction_element, harmony_element
from shortway.scores.notation.key_signatures import key_fifths
from shortway.scores.notation.model import (
    STAVES,
    PlacedSymbol,
    PlayedMeasure,
    Score,
    Staff,
    sounding_ranges,
)
from shortway.scores.notation.staves import HandPart, hand_note_values, note_elements

#: MIDI velocity of every note.
VELOCITY: Final = 64
#: The velocity that MusicXML's loudness is a percentage of.
_FORTE: Final = 90
#: The most divisions of a quarter note that all measures share.
_MOST_DIVISIONS: Final = 20_160

#: Clef and MusicXML voice of each hand.
_HOMES: Final = {"right": (TREBLE, 1), "left": (BASS, 5)}


@dataclass(frozen=True, slots=True)
class MeasureFrame:
    """A measure's attributes, and its ``time`` elements if the meter is new."""

    named: dict[str, str]
    times: tuple[Element, ...]


def piano_part_measures(
    music: Score, frames: Sequence[MeasureFrame] | None = None
) -> list[Element]:
    """The measures of the piano part.

    `frames`, of shape (measures,), are those of the score that the part is inserted into, which has
    a tempo of its own.

    Raises SettingError if a time is too fine for note values.
    """
    symbols = _symbols_by_measure(music)
    hands = [_hand(music, staff) for staff in STAVES]
    divisions = _divisions(music.bars, hands, symbols)
    own = list(_frames(music.bars)) if frames is None else frames
    found = []
    for place, bar in enumerate(music.bars):
        measure = Element("measure", own[place].named)
        attributes = _attributes(music.bars, hands, divisions, place, own[place].times)
        if len(attributes):
            measure.append(attributes)
        for hand in hands:
            if hand is not hands[0]:
                add_child(measure, "backup", {"duration": bar.length * divisions[place]})
            own_symbols = symbols[place] if hand is hands[0] else []
            measure.extend(list(_notes(bar, hand, place, divisions[place], own_symbols)))
        found.append(measure)
    if frames is None:
        found[0].insert(1, _tempo(music.tempo))
    if music.swing != 1:
        place = next((k for k, e in enumerate(found[0]) if e.tag == "note"), len(found[0]))
        found[0].insert(place, direction_element("words", "Swing"))
    return found


def _frames(bars: Sequence[PlayedMeasure]) -> Iterator[MeasureFrame]:
    """The frames of a score of the piano alone."""
    meter = None
    for bar in bars:
        named = {"number": str(bar.number)} | ({"implicit": "yes"} if bar.pickup else {})
        time = Element("time")
        add_child(time, "beats", bar.meter[0])
        add_child(time, "beat-type", bar.meter[1])
        yield MeasureFrame(named, (time,) if bar.meter != meter else ())
        meter = bar.meter


def _hand(music: Score, staff: Staff) -> HandPart:
    spans, bars = music.hand(staff), music.bars
    windows = list(sounding_ranges(bars, spans))
    values = [hand_note_values(bar, spans, w) for bar, w in zip(bars, windows, strict=True)]
    names = [[note.note for i in window for note in spans[i].notes] for window in windows]
    home, voice = _HOMES[staff]
    clefs, number = choose_clefs(names, home), STAVES.index(staff) + 1
    return HandPart(spans, number, voice, music.show.degrees, values, clefs)


def _divisions(
    bars: Sequence[PlayedMeasure],
    hands: Sequence[HandPart],
    symbols: Sequence[Sequence[PlacedSymbol]],
) -> list[int]:
    """The divisions of each measure: the same for all, unless that would be very fine."""
    own = []
    for place, bar in enumerate(bars):
        times = [bar.length, bar.onset, *(symbol.onset for symbol in symbols[place])]
        times += [t for hand in hands for v in hand.values[place] for t in (v.begin, v.end)]
        own.append(lcm(*(time.denominator for time in times)))
    shared = lcm(*own)
    return [shared] * len(own) if shared <= _MOST_DIVISIONS else own


def _symbols_by_measure(music: Score) -> list[list[PlacedSymbol]]:
    found: list[list[PlacedSymbol]] = [[] for _ in music.bars]
    place = 0
    for symbol in music.signs if music.show.symbols else ():
        while symbol.onset >= music.bars[place].end:
            place += 1
        found[place].append(symbol)
    return found


def _tempo(tempo: float) -> Element:
    content = {"beat-unit": "quarter", "per-minute": f"{tempo:g}"}
    found = direction_element("metronome", content)
    add_child(found, "sound", tempo=f"{tempo:g}", dynamics=f"{100 * VELOCITY / _FORTE:.2f}")
    return found


def _attributes(
    bars: Sequence[PlayedMeasure],
    hands: Sequence[HandPart],
    divisions: Sequence[int],
    place: int,
    times: Sequence[Element],
) -> Element:
    """The attributes that change in this measure."""
    found, is_first = Element("attributes"), place == 0
    if is_first or divisions[place] != divisions[place - 1]:
        add_child(found, "divisions", divisions[place])
    if is_first or bars[place].key != bars[place - 1].key:
        sharps, mode = key_fifths(bars[place].key)
        add_child(found, "key", {"fifths": sharps, "mode": mode})
    found.extend(times)
    if is_first:
        add_child(found, "staves", len(STAVES))
    for hand in hands:
        clef = hand.clefs[place]
        if is_first or clef.plain != hand.clefs[place - 1].plain:
            add_child(found, "clef", {"sign": clef.sign, "line": clef.line}, number=hand.staff)
    return found


def _notes(
    bar: PlayedMeasure,
    hand: HandPart,
    place: int,
    divisions: int,
    symbols: Sequence[PlacedSymbol],
) -> Iterator[Element]:
    """A hand's notes, each symbol before its note, between the ends of an octave sign."""
    octaves = [0, *(clef.octave for clef in hand.clefs), 0]
    before, octave, after = octaves[place : place + 3]
    if octave and octave != before:
        yield _octave_sign("down" if octave > 0 else "up", octave, hand.staff)
    waiting = list(symbols)
    for value, notes in note_elements(bar, hand, hand.values[place], divisions):
        while waiting and waiting[0].onset < bar.start + value.end:
            symbol = waiting.pop(0)
            offset = (symbol.onset - bar.start - value.begin) * divisions
            yield harmony_element(symbol.chord, int(offset), hand.staff)
        yield from notes
    if octave and octave != after:
        yield _octave_sign("stop", octave, hand.staff)


def _octave_sign(kind: str, octave: int, staff: int) -> Element:
    placement = "above" if octave > 0 else "below"
    return direction_element("octave-shift", None, placement, staff, type=kind, size=8)
