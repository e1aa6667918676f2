"""The piano part: one MusicXML part on a grand staff, measure by measure.

Knows music, staves and clefs; not the score that the part belongs to.
"""

from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import gcd, lcm
from typing import Final

from shortway.core.cancellation import checkpoint
from shortway.core.theory.chord import Chord
from shortway.scores.notation.accidentals import Line, MeasureAccidentals
from shortway.scores.notation.clefs import BASS, TREBLE, choose_clefs
from shortway.scores.notation.elements import (
    barline_element,
    direction_element,
    element,
    harmony_element,
    text_element,
    text_elements,
)
from shortway.scores.notation.key_signatures import key_fifths, signature_alterations
from shortway.scores.notation.model import (
    STAVES,
    PlacedSymbol,
    PlayedMeasure,
    Score,
    Staff,
    sounding_ranges,
)
from shortway.scores.notation.staves import HandPart, measure_rhythm, note_elements, written_chords
from shortway.scores.notation.systems import PAPER, measure_width, system_begins

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

    named: Mapping[str, object]
    times: tuple[str, ...]


def piano_part_measures(
    music: Score,
    frames: Sequence[MeasureFrame] | None = None,
    room: float = PAPER,
    *,
    engraved: bool = False,
) -> list[str]:
    """The measures of the piano part.

    `frames`, of shape (measures,), are those of the score that the part is inserted into, which has
    a tempo and systems of its own; `room` is the width of a system in staff spaces. `engraved`:
    without tempo and swing, and without what is not printed.

    Raises SettingError if a time is too fine for note values.
    """
    symbols = _symbols_by_measure(music)
    hands = [_hand(music, staff) for staff in STAVES]
    divisions = _divisions(music, hands, symbols)
    sections = dict(music.chart.sections)
    begins = frozenset[int]() if frames else _systems(music, hands, symbols, sections, room)
    own = frames or list(_frames(music.bars))
    found = []
    before: Mapping[Line, int] = {}
    for place, bar in enumerate(music.bars):
        checkpoint()
        accidentals = MeasureAccidentals(signature_alterations(key_fifths(bar.key)[0]), before)
        signs = _accidentals(hands, place, divisions, accidentals, restated=place in begins)
        before = accidentals.altered
        section = sections.get(bar.source)
        lines = []
        if place and place in begins:
            pages = section is not None and music.show.page_breaks == "sections"
            lines.append(element("print", **{"new_page" if pages else "new_system": "yes"}))
        lines.append(_attributes(music.bars, hands, divisions, place, own[place].times))
        if place == 0 and not engraved:
            lines += _tempo(music, alone=frames is None)
        if section and frames is None:
            letter = text_element("rehearsal", section, enclosure="square")
            lines.append(direction_element(letter))
        for number, hand in enumerate(hands):
            if number:
                length = (bar.end - bar.onset) * divisions[place] // music.ticks
                lines.append(element("backup", text_element("duration", length)))
            over = () if number else symbols[place]
            at = [((s.onset - bar.start) * divisions[place] // music.ticks, s.chord) for s in over]
            lines += _notes(hand, place, divisions[place], at, signs[number], engraved)
        if frames is None and _closes(music.bars, place, sections):
            lines.append(barline_element("light-light"))
        inner = "".join([f"{line}\n" for line in lines if line])
        found.append(element("measure", "\n", inner, **own[place].named))
    return found


def _closes(bars: Sequence[PlayedMeasure], place: int, sections: Container[int]) -> bool:
    """Whether another section, or another key, comes after a measure."""
    if place + 1 == len(bars):
        return False
    here, after = bars[place : place + 2]
    return after.key != here.key or after.source in sections


def _frames(bars: Sequence[PlayedMeasure]) -> Iterator[MeasureFrame]:
    """The frames of a score of the piano alone."""
    meter = None
    for bar in bars:
        named = {"number": bar.number, "implicit": "yes" if bar.pickup else None}
        if bar.meter == meter:
            yield MeasureFrame(named, ())
            continue
        meter = beats, unit = bar.meter
        time = element("time", text_elements(beats=beats, beat_type=unit))
        yield MeasureFrame(named, (time,))


def _hand(music: Score, staff: Staff) -> HandPart:
    spans, bars = music.hand(staff), music.bars
    windows = list(sounding_ranges(bars, spans))
    inside = list(zip(bars, windows, strict=True))
    rhythms = [measure_rhythm(bar, music.ticks, spans, window) for bar, window in inside]
    measures = [
        written_chords(bar, rhythm, spans, window)
        for (bar, window), rhythm in zip(inside, rhythms, strict=True)
    ]
    names = [tuple([note.note for i in window for note in spans[i].notes]) for window in windows]
    home, voice = _HOMES[staff]
    held = [bool(measure[0].tied) for measure in measures]
    clefs, number = choose_clefs(names, home, held), STAVES.index(staff) + 1
    octaves = [0, *[clef.octave for clef in clefs], 0]
    return HandPart(number, voice, music.show.degrees, rhythms, measures, clefs, octaves)


def _divisions(
    music: Score, hands: Sequence[HandPart], symbols: Sequence[Sequence[PlacedSymbol]]
) -> list[int]:
    """The divisions of each measure: the same for all, unless that would be very fine."""
    own = []
    for place, bar in enumerate(music.bars):
        times = [bar.end, bar.onset, *[symbol.onset for symbol in symbols[place]]]
        least = music.ticks // gcd(music.ticks, *times)
        own.append(lcm(least, *[hand.rhythms[place].divisions for hand in hands]))
    shared = lcm(*set(own))
    return [shared] * len(own) if shared <= _MOST_DIVISIONS else own


def _symbols_by_measure(music: Score) -> list[list[PlacedSymbol]]:
    found: list[list[PlacedSymbol]] = [[] for _ in music.bars]
    place = 0
    for symbol in music.signs if music.show.symbols else ():
        while symbol.onset >= music.bars[place].end:
            place += 1
        found[place].append(symbol)
    return found


def _systems(
    music: Score,
    hands: Sequence[HandPart],
    symbols: Sequence[Sequence[PlacedSymbol]],
    sections: Container[int],
    room: float,
) -> frozenset[int]:
    """The measures with which systems begin: those of sections and after jumps, too."""
    bars = music.bars
    widths = [
        measure_width(
            max(len(hand.measures[place]) for hand in hands),
            [symbol.chord.symbol for symbol in symbols[place]],
        )
        for place in range(len(bars))
    ]
    begins = {
        place
        for place, bar in enumerate(bars)
        if bar.source in sections or (place and bar.source <= bars[place - 1].source)
    }
    return system_begins(widths, begins, room, pickup=bars[0].pickup)


def _accidentals(
    hands: Sequence[HandPart],
    place: int,
    divisions: Sequence[int],
    state: MeasureAccidentals,
    *,
    restated: bool,
) -> list[list[Mapping[str, str]]]:
    """The accidentals of each hand's notes in a measure, by the names of the notes."""
    order = sorted(
        (written.beamed.begin * divisions[place] // hand.rhythms[place].divisions, number, at)
        for number, hand in enumerate(hands)
        for at, written in enumerate(hand.measures[place])
        if written.span
    )
    found: list[list[Mapping[str, str]]] = [[{}] * len(hand.measures[place]) for hand in hands]
    for _, number, at in order:
        written = hands[number].measures[place][at]
        told = state.tied(written.tied, restated=restated and at == 0)
        found[number][at] = told | state.struck(number, written.struck)
    return found


def _tempo(music: Score, *, alone: bool) -> Iterator[str]:
    """Tempo and swing over the first measure; `alone`: in a score of its own."""
    if alone:
        dotted, count = music.tempo_mark
        dot = element("beat-unit-dot") if dotted else ""
        metronome = (
            f"{text_elements(beat_unit='quarter')}{dot}{text_elements(per_minute=f'{count:g}')}"
        )
        loudness = f"{100 * VELOCITY / _FORTE:.2f}"
        sound = element("sound", tempo=f"{music.tempo:g}", dynamics=loudness)
        yield direction_element(element("metronome", metronome), sound)
    if music.swing != 1:
        ratio = text_elements(
            first=music.swing.numerator, second=music.swing.denominator, swing_type="eighth"
        )
        sound = element("sound", element("swing", ratio))
        yield direction_element(text_element("words", "Swing"), sound)


def _attributes(
    bars: Sequence[PlayedMeasure],
    hands: Sequence[HandPart],
    divisions: Sequence[int],
    place: int,
    times: Sequence[str],
) -> str:
    """The attributes that change in this measure; empty where none does."""
    found, is_first = [], place == 0
    if is_first or divisions[place] != divisions[place - 1]:
        found.append(text_element("divisions", divisions[place]))
    if is_first or bars[place].key != bars[place - 1].key:
        sharps, mode = key_fifths(bars[place].key)
        found.append(element("key", text_elements(fifths=sharps, mode=mode)))
    found += times
    if is_first:
        found.append(text_element("staves", len(STAVES)))
    for hand in hands:
        clef = hand.clefs[place]
        if is_first or clef.plain != hand.clefs[place - 1].plain:
            found.append(
                element("clef", text_elements(sign=clef.sign, line=clef.line), number=hand.staff)
            )
    return element("attributes", *found) if found else ""


def _notes(
    hand: HandPart,
    place: int,
    divisions: int,
    symbols: Sequence[tuple[int, Chord]],
    accidentals: Sequence[Mapping[str, str]],
    engraved: bool,
) -> Iterator[str]:
    """A hand's notes, each symbol before its note, between the ends of an octave sign.

    `symbols` have their places in divisions from the measure's start.
    """
    before, octave, after = hand.octaves[place : place + 3]
    if octave and octave != before:
        yield _octave_sign("down" if octave > 0 else "up", octave, hand.staff)
    waiting, scale = list(symbols), divisions // hand.rhythms[place].divisions
    for written, signs in zip(hand.measures[place], accidentals, strict=True):
        begin = written.beamed.begin * scale
        while waiting and waiting[0][0] < begin + written.beamed.length * scale:
            at, chord = waiting.pop(0)
            yield harmony_element(chord, at - begin, hand.staff, printed=engraved)
        yield from note_elements(hand, written, signs, scale)
    if octave and octave != after:
        yield _octave_sign("stop", octave, hand.staff)


def _octave_sign(kind: str, octave: int, staff: int) -> str:
    placement = "above" if octave > 0 else "below"
    sign = element("octave-shift", type=kind, size=8)
    return direction_element(sign, placement=placement, staff=staff)
