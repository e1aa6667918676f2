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
from shortway.scores.notation.durations import Cut, Piece
from shortway.scores.notation.elements import accidental, add, pitch
from shortway.scores.notation.key_signatures import fifths, parted, signature
from shortway.scores.notation.model import Bar, Span

#: Beams of the short note values.
_BEAMS: Final = {
    name: count
    for count, name in enumerate(
        ("eighth", "16th", "32nd", "64th", "128th", "256th", "512th", "1024th"), 1
    )
}


@dataclass(frozen=True, slots=True)
class Part:
    """One hand over the whole score.

    Attributes
    ----------
    onward : sequence of frozenset of str
        Of each span, the notes that sound on into the next.
    degrees : bool
        Whether each note's degree is written under it.
    """

    spans: Sequence[Span]
    onward: Sequence[frozenset[str]]
    staff: int
    voice: int
    degrees: bool


@dataclass(slots=True)
class Signs:
    """Which accidentals stand in a measure of a staff already."""

    key: dict[str, int]
    said: dict[tuple[str, int], int | None] = field(default_factory=dict)

    def needed(self, names: Sequence[str]) -> set[str]:
        """Which of a chord's notes, all struck at once, need their sign; they are said then."""
        alters: dict[tuple[str, int], set[int]] = {}
        for name in names:
            letter, alter, octave = parted(name)
            alters.setdefault((letter, octave), set()).add(alter)
        found = set()
        for name in names:
            letter, alter, octave = parted(name)
            place = letter, octave
            twice = len(alters[place]) > 1
            if twice or self.said.get(place, self.key.get(letter, 0)) != alter:
                found.add(name)
        for place, here in alters.items():
            self.said[place] = here.pop() if len(here) == 1 else None
        return found


def cuts(bar: Bar, spans: Sequence[Span], window: range) -> list[Cut]:
    """What a hand does in a measure, silence included; times from the measure's full beginning.

    `window` says which of its spans sound there.
    """
    begin, end = bar.onset, bar.onset + bar.length
    found, at = [], begin
    for index in window:
        span = spans[index]
        here = max(begin, span.begin)
        if here > at:
            found.append(Cut(at, here, None))
        at = min(end, span.end)
        found.append(Cut(here, at, index))
    if at < end:
        found.append(Cut(at, end, None))
    shift = lead(bar) - begin
    return [Cut(c.begin + shift, c.end + shift, c.span) for c in found]


def lead(bar: Bar) -> Fraction:
    """How much of a full measure is missing before `bar`."""
    full = bar.meter[0] * Fraction(4, bar.meter[1])
    return full - bar.length if bar.pickup else Fraction(0)


def pieces(bar: Bar, spans: Sequence[Span], window: range) -> list[Piece]:
    """What is printed of a hand in a measure."""
    tree = durations.measure(bar.meter)
    if lead(bar) + bar.length > tree.end:
        length = lead(bar) + bar.length
        edges = tuple(Fraction(k) for k in range(1, int(length) + 1) if k < length)
        tree = durations.Node(Fraction(0), length, edges, True)
    return durations.pieces(tree, cuts(bar, spans, window))


def notes(
    bar: Bar, part: Part, found: Sequence[Piece], divisions: int
) -> Iterator[tuple[Piece, list[Element]]]:
    """The pieces of a hand's measure, each with its note elements."""
    if all(piece.span is None for piece in found):
        whole = replace(found[0], end=found[-1].end)
        yield whole, [_whole_rest(bar, part, divisions)]
        return
    signs = Signs(signature(fifths(bar.key)[0]))
    checkpoint()
    for piece, beam in zip(found, _beams(bar, found), strict=True):
        if piece.span is None:
            yield piece, [_rest(part, piece, divisions)]
        else:
            yield piece, _chord(bar, part, piece, beam, signs, divisions)


def _whole_rest(bar: Bar, part: Part, divisions: int) -> Element:
    note = Element("note")
    add(note, "rest", measure="yes")
    add(note, "duration", bar.length * divisions)
    add(note, "voice", part.voice)
    add(note, "staff", part.staff)
    return note


def _rest(part: Part, piece: Piece, divisions: int) -> Element:
    note = Element("note")
    add(note, "rest")
    _value(note, part, piece, divisions)
    _modified(note, piece)
    add(note, "staff", part.staff)
    _notations(note, (), piece)
    return note


def _value(note: Element, part: Part, piece: Piece, divisions: int, *ties: str) -> None:
    """From the duration to the dots."""
    add(note, "duration", (piece.end - piece.begin) * divisions)
    for tie in ties:
        add(note, "tie", type=tie)
    add(note, "voice", part.voice)
    add(note, "type", piece.type)
    for _ in range(piece.dots):
        add(note, "dot")


def _chord(
    bar: Bar, part: Part, piece: Piece, beam: Sequence[str], signs: Signs, divisions: int
) -> list[Element]:
    """All notes of a piece, from the lowest; the first carries beams and tuplet."""
    assert piece.span is not None
    span = part.spans[piece.span]
    begin = piece.begin - lead(bar) + bar.onset
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
            add(note, "chord")
        pitch(note, each.note)
        _value(note, part, piece, divisions, *ties)
        if each.note in needed:
            accidental(note, parted(each.note)[1])
        elements.append(note)
        _modified(note, piece)
        add(note, "staff", part.staff)
        for level, word in enumerate(beam if not place else (), 1):
            add(note, "beam", word, number=level)
        _notations(note, ties, None if place else piece)
        if part.degrees and is_first:
            _degree(note, each, len(span.notes) - place)
    return elements


def _modified(note: Element, piece: Piece) -> None:
    if piece.ratio:
        child = add(note, "time-modification")
        add(child, "actual-notes", piece.ratio[0])
        add(child, "normal-notes", piece.ratio[1])


def _notations(note: Element, ties: Sequence[str], piece: Piece | None) -> None:
    """Ties as they are printed; with `piece` its tuplet's bracket, too."""
    brackets = [] if piece is None else _brackets(piece)
    if not ties and not brackets:
        return
    child = add(note, "notations")
    for tie in ties:
        add(child, "tied", type=tie)
    for bracket in brackets:
        add(child, "tuplet", type=bracket, number=1)


def _brackets(piece: Piece) -> list[str]:
    return ["start"] * piece.opens + ["stop"] * piece.closes


def _degree(note: Element, of: Note, line: int) -> None:
    """A note's degree as a line of text under its staff, the chord's highest note first."""
    child = add(note, "lyric", number=line, placement="below")
    add(child, "syllabic", "single")
    add(child, "text", of.degree)


def _beams(bar: Bar, found: Sequence[Piece]) -> list[list[str]]:
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


def _group(bar: Bar, piece: Piece) -> int:
    """Which beat a piece begins in: three units where the meter is compound."""
    count, unit = bar.meter
    beat = Fraction(4, unit)
    if count % 3 == 0 and count > 3:
        beat *= 3
    return int(piece.begin / max(beat, Fraction(1)))
