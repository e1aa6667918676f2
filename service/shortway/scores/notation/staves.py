"""A hand's measure as MusicXML notes: note values, ties, accidentals, beams, tuplets, degrees."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.cancellation import checkpoint
from shortway.core.voicings.model import Note
from shortway.scores.notation.clefs import Clef
from shortway.scores.notation.durations import (
    NOTE_TYPES,
    MeterNode,
    NoteValue,
    Segment,
    meter_tree,
    split_into_note_values,
)
from shortway.scores.notation.elements import add_child
from shortway.scores.notation.key_signatures import (
    key_fifths,
    signature_alterations,
    split_note_name,
)
from shortway.scores.notation.model import PlayedMeasure, Sonority

#: Beams of the short note values.
_BEAMS: Final = {
    name: count for count, name in enumerate(NOTE_TYPES[NOTE_TYPES.index("eighth") :], 1)
}
_ACCIDENTALS: Final = {
    -2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class HandPart:
    """One hand over the whole score.

    `staff` and `voice` are MusicXML's numbers; `degrees`: whether each note's degree is written.
    `values` and `clefs` have shape (measures,).
    """

    spans: Sequence[Sonority]
    staff: int
    voice: int
    degrees: bool
    values: Sequence[list[NoteValue]]
    clefs: Sequence[Clef]


@dataclass(slots=True)
class AccidentalState:
    """The accidentals in force in a measure of a staff, by letter and octave."""

    key: dict[str, int]
    said: dict[tuple[str, int], int | None] = field(default_factory=dict)

    def needed(self, names: Sequence[str]) -> set[str]:
        """The notes of a chord that need an accidental, which is in force from then on."""
        found: set[str] = set()
        alters: defaultdict[tuple[str, int], set[int]] = defaultdict(set)
        notes = [(name, *split_note_name(name)) for name in names]
        for _, letter, alter, octave in notes:
            alters[letter, octave].add(alter)
        for name, letter, alter, octave in notes:
            in_force = self.said.get((letter, octave), self.key.get(letter, 0))
            if len(alters[letter, octave]) > 1 or in_force != alter:
                found.add(name)
        for place, here in alters.items():
            self.said[place] = here.pop() if len(here) == 1 else None
        return found


def hand_note_values(
    bar: PlayedMeasure, spans: Sequence[Sonority], window: range
) -> list[NoteValue]:
    """The note values of a hand in a measure, rests included; times from ``bar.start``.

    `window` has the indices of the spans that sound in the measure.
    """
    tree = meter_tree(bar.meter)
    length = bar.end - bar.start
    if length > tree.end:
        edges = tuple(Fraction(k) for k in range(1, int(length) + 1) if k < length)
        tree = MeterNode(Fraction(0), length, edges, True)
    found, at = [], bar.onset - bar.start
    for index in window:
        begin = max(bar.onset, spans[index].begin) - bar.start
        end = min(bar.end, spans[index].end) - bar.start
        found += [Segment(at, begin, None), Segment(begin, end, index)]
        at = end
    return split_into_note_values(tree, [*found, Segment(at, length, None)])


def note_elements(
    bar: PlayedMeasure, part: HandPart, found: Sequence[NoteValue], divisions: int
) -> Iterator[tuple[NoteValue, list[Element]]]:
    """The note values of a hand's measure, each with its note elements."""
    if all(value.span is None for value in found):
        note = Element("note")
        add_child(note, "rest", measure="yes")
        add_child(note, "duration", bar.length * divisions)
        add_child(note, "voice", part.voice)
        add_child(note, "staff", part.staff)
        yield replace(found[0], end=found[-1].end), [note]
        return
    accidentals = AccidentalState(signature_alterations(key_fifths(bar.key)[0]))
    checkpoint()
    for value, beams in zip(found, _beams(bar, found), strict=True):
        if value.span is None:
            yield value, [_note(part, value, divisions, brackets=_brackets(value))]
        else:
            yield value, _chord(bar, part, value, value.span, beams, accidentals, divisions)


def _brackets(value: NoteValue) -> list[str]:
    return ["start"] * value.opens + ["stop"] * value.closes


def _chord(
    bar: PlayedMeasure,
    part: HandPart,
    value: NoteValue,
    index: int,
    beams: Sequence[str],
    accidentals: AccidentalState,
    divisions: int,
) -> list[Element]:
    """The notes of a value, from the lowest, which carries beams and tuplet."""
    span, following = part.spans[index], part.spans[index + 1 : index + 2]
    tied = following[0].held if following else frozenset()
    is_first = value.begin + bar.start == span.begin
    is_last = value.end + bar.start >= span.end
    struck = [n.note for n in span.notes if is_first and n.note not in span.held]
    needed = accidentals.needed(struck)  # tied notes need none
    elements = []
    for place, each in enumerate(span.notes):
        stops = not is_first or each.note in span.held
        starts = not is_last or each.note in tied
        note = _note(
            part, value, divisions, each, chord=place > 0,
            ties=["stop"] * stops + ["start"] * starts, accidental=each.note in needed,
            beams=() if place else beams, brackets=() if place else _brackets(value),
        )  # fmt: skip
        if part.degrees and is_first:
            text = {"syllabic": "single", "text": each.degree}
            add_child(note, "lyric", text, number=len(span.notes) - place, placement="below")
        elements.append(note)
    return elements


def _note(
    part: HandPart,
    value: NoteValue,
    divisions: int,
    pitched: Note | None = None,
    *,
    chord: bool = False,
    ties: Sequence[str] = (),
    accidental: bool = False,
    beams: Sequence[str] = (),
    brackets: Sequence[str] = (),
) -> Element:
    """A note element; without `pitched` a rest."""
    note, alter = Element("note"), 0
    if chord:
        add_child(note, "chord")
    if pitched is None:
        add_child(note, "rest")
    else:
        letter, alter, octave = split_note_name(pitched.note)
        add_child(note, "pitch", {"step": letter, "alter": alter or None, "octave": octave})
    add_child(note, "duration", (value.end - value.begin) * divisions)
    for tie in ties:
        add_child(note, "tie", type=tie)
    add_child(note, "voice", part.voice)
    add_child(note, "type", value.type)
    for _ in range(value.dots):
        add_child(note, "dot")
    if accidental:
        add_child(note, "accidental", _ACCIDENTALS[alter])
    if value.ratio:
        ratio = {"actual-notes": value.ratio[0], "normal-notes": value.ratio[1]}
        add_child(note, "time-modification", ratio)
    add_child(note, "staff", part.staff)
    for level, beam in enumerate(beams, 1):
        add_child(note, "beam", beam, number=level)
    if ties or brackets:
        notations = add_child(note, "notations")
        for tie in ties:
            add_child(notations, "tied", type=tie)
        for bracket in brackets:
            add_child(notations, "tuplet", type=bracket, number=1)
    return note


def _beams(bar: PlayedMeasure, found: Sequence[NoteValue]) -> list[list[str]]:
    """For each value the beams by level: begin, continue, end, or a hook."""
    levels = [0 if value.span is None else _BEAMS.get(value.type, 0) for value in found]
    count, unit = bar.meter
    beat = max(Fraction(4, unit) * (3 if count % 3 == 0 and count > 3 else 1), Fraction(1))
    groups = [int(value.begin / beat) for value in found]

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
