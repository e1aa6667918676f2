"""A hand's measure as MusicXML notes: pieces, ties, accidentals, beams, tuplets, degrees.

Knows durations and elements; not which measure of which score it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.cancellation import checkpoint
from shortway.core.voicings.model import Note
from shortway.scores.notation import durations
from shortway.scores.notation.durations import NoteValue, Segment
from shortway.scores.notation.elements import add_accidental, add_child, add_pitch
from shortway.scores.notation.key_signatures import (
    key_fifths,
    signature_alterations,
    split_note_name,
)
from shortway.scores.notation.model import PlayedMeasure, Sonority

#: Beams of the short note values.
_BEAMS: Final = {
    name: count
    for count, name in enumerate(
        ("eighth", "16th", "32nd", "64th", "128th", "256th", "512th", "1024th"), 1
    )
}


@dataclass(frozen=True, slots=True)
class HandPart:
    """One hand over the whole score.

    Attributes
    ----------
    onward : sequence of frozenset of str
        Of each span, the notes that sound on into the next.
    degrees : bool
        Whether each note's degree is written under it.
    """

    spans: Sequence[Sonority]
    onward: Sequence[frozenset[str]]
    staff: int
    voice: int
    degrees: bool


@dataclass(slots=True)
class AccidentalState:
    """Which accidentals stand in a measure of a staff already."""

    key: dict[str, int]
    said: dict[tuple[str, int], int | None] = field(default_factory=dict)

    def needed(self, names: Sequence[str]) -> set[str]:
        """Which of a chord's notes, all struck at once, need their sign; they are said then."""
        alters: dict[tuple[str, int], set[int]] = {}
        for name in names:
            letter, alter, octave = split_note_name(name)
            alters.setdefault((letter, octave), set()).add(alter)
        found = set()
        for name in names:
            letter, alter, octave = split_note_name(name)
            place = letter, octave
            twice = len(alters[place]) > 1
            if twice or self.said.get(place, self.key.get(letter, 0)) != alter:
                found.add(name)
        for place, here in alters.items():
            self.said[place] = here.pop() if len(here) == 1 else None
        return found


def hand_segments(bar: PlayedMeasure, spans: Sequence[Sonority], window: range) -> list[Segment]:
    """What a hand does in a measure, silence included; times from the measure's full beginning.

    `window` says which of its spans sound there.
    """
    begin, end = bar.onset, bar.onset + bar.length
    found, at = [], begin
    for index in window:
        span = spans[index]
        here = max(begin, span.begin)
        if here > at:
            found.append(Segment(at, here, None))
        at = min(end, span.end)
        found.append(Segment(here, at, index))
    if at < end:
        found.append(Segment(at, end, None))
    shift = pickup_offset(bar) - begin
    return [Segment(c.begin + shift, c.end + shift, c.span) for c in found]


def pickup_offset(bar: PlayedMeasure) -> Fraction:
    """How much of a full measure is missing before `bar`."""
    full = bar.meter[0] * Fraction(4, bar.meter[1])
    return full - bar.length if bar.pickup else Fraction(0)


def hand_note_values(
    bar: PlayedMeasure, spans: Sequence[Sonority], window: range
) -> list[NoteValue]:
    """What is printed of a hand in a measure."""
    tree = durations.meter_tree(bar.meter)
    if pickup_offset(bar) + bar.length > tree.end:
        length = pickup_offset(bar) + bar.length
        edges = tuple(Fraction(k) for k in range(1, int(length) + 1) if k < length)
        tree = durations.MeterNode(Fraction(0), length, edges, True)
    return durations.split_into_note_values(tree, hand_segments(bar, spans, window))


def note_elements(
    bar: PlayedMeasure, part: HandPart, found: Sequence[NoteValue], divisions: int
) -> Iterator[tuple[NoteValue, list[Element]]]:
    """The pieces of a hand's measure, each with its note elements."""
    if all(piece.span is None for piece in found):
        whole = replace(found[0], end=found[-1].end)
        yield whole, [_whole_rest(bar, part, divisions)]
        return
    signs = AccidentalState(signature_alterations(key_fifths(bar.key)[0]))
    checkpoint()
    for piece, beam in zip(found, _beams(bar, found), strict=True):
        if piece.span is None:
            yield piece, [_rest(part, piece, divisions)]
        else:
            yield piece, _chord(bar, part, piece, beam, signs, divisions)


def _whole_rest(bar: PlayedMeasure, part: HandPart, divisions: int) -> Element:
    note = Element("note")
    add_child(note, "rest", measure="yes")
    add_child(note, "duration", bar.length * divisions)
    add_child(note, "voice", part.voice)
    add_child(note, "staff", part.staff)
    return note


def _rest(part: HandPart, piece: NoteValue, divisions: int) -> Element:
    note = Element("note")
    add_child(note, "rest")
    _value(note, part, piece, divisions)
    _modified(note, piece)
    add_child(note, "staff", part.staff)
    _notations(note, (), piece)
    return note


def _value(note: Element, part: HandPart, piece: NoteValue, divisions: int, *ties: str) -> None:
    """From the duration to the dots."""
    add_child(note, "duration", (piece.end - piece.begin) * divisions)
    for tie in ties:
        add_child(note, "tie", type=tie)
    add_child(note, "voice", part.voice)
    add_child(note, "type", piece.type)
    for _ in range(piece.dots):
        add_child(note, "dot")


def _chord(
    bar: PlayedMeasure,
    part: HandPart,
    piece: NoteValue,
    beam: Sequence[str],
    signs: AccidentalState,
    divisions: int,
) -> list[Element]:
    """All notes of a piece, from the lowest; the first carries beams and tuplet."""
    assert piece.span is not None
    span = part.spans[piece.span]
    begin = piece.begin - pickup_offset(bar) + bar.onset
    goes_on = begin + (piece.end - piece.begin) < span.end
    is_first = begin == span.begin
    struck = [n.note for n in span.notes if is_first and n.note not in span.held]
    needed = signs.needed(struck)  # a tie carries the sign of what is not
    elements = []
    for place, each in enumerate(span.notes):
        stops = not is_first or each.note in span.held
        starts = goes_on or each.note in part.onward[piece.span]
        ties = [*(["stop"] if stops else []), *(["start"] if starts else [])]
        note = Element("note")
        if place:
            add_child(note, "chord")
        add_pitch(note, each.note)
        _value(note, part, piece, divisions, *ties)
        if each.note in needed:
            add_accidental(note, split_note_name(each.note)[1])
        elements.append(note)
        _modified(note, piece)
        add_child(note, "staff", part.staff)
        for level, word in enumerate(beam if not place else (), 1):
            add_child(note, "beam", word, number=level)
        _notations(note, ties, None if place else piece)
        if part.degrees and is_first:
            _degree(note, each, len(span.notes) - place)
    return elements


def _modified(note: Element, piece: NoteValue) -> None:
    if piece.ratio:
        child = add_child(note, "time-modification")
        add_child(child, "actual-notes", piece.ratio[0])
        add_child(child, "normal-notes", piece.ratio[1])


def _notations(note: Element, ties: Sequence[str], piece: NoteValue | None) -> None:
    """Ties as they are printed; with `piece` its tuplet's bracket, too."""
    brackets = [] if piece is None else _brackets(piece)
    if not ties and not brackets:
        return
    child = add_child(note, "notations")
    for tie in ties:
        add_child(child, "tied", type=tie)
    for bracket in brackets:
        add_child(child, "tuplet", type=bracket, number=1)


def _brackets(piece: NoteValue) -> list[str]:
    return ["start"] * piece.opens + ["stop"] * piece.closes


def _degree(note: Element, of: Note, line: int) -> None:
    """A note's degree as a line of text under its staff, the chord's highest note first."""
    child = add_child(note, "lyric", number=line, placement="below")
    add_child(child, "syllabic", "single")
    add_child(child, "text", of.degree)


def _beams(bar: PlayedMeasure, found: Sequence[NoteValue]) -> list[list[str]]:
    """The beams of each piece: level by level begin, continue, end, or a hook."""
    levels = [0 if piece.span is None else _BEAMS.get(piece.type, 0) for piece in found]
    groups = [_group(bar, piece) for piece in found]

    def joined(a: int, b: int, level: int) -> bool:
        inside = a >= 0 and b < len(found) and groups[a] == groups[b]
        return inside and min(levels[a], levels[b]) >= level

    beams: list[list[str]] = []
    for at, count in enumerate(levels):
        here: list[str] = []
        for level in range(1, count + 1):
            before, after = joined(at - 1, at, level), joined(at, at + 1, level)
            if before or after:
                here.append("continue" if before and after else "end" if before else "begin")
            elif joined(at - 1, at, 1) or joined(at, at + 1, 1):
                here.append("backward hook" if joined(at - 1, at, 1) else "forward hook")
        beams.append(here)
    return beams


def _group(bar: PlayedMeasure, piece: NoteValue) -> int:
    """Which beat a piece begins in: three units where the meter is compound."""
    count, unit = bar.meter
    beat = Fraction(4, unit)
    if count % 3 == 0 and count > 3:
        beat *= 3
    return int(piece.begin / max(beat, Fraction(1)))
