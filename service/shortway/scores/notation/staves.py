"""A hand's measure as MusicXML notes: note values, ties, accidentals, beams, tuplets, degrees."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Final, NamedTuple

from shortway.core.rhythm.onsets import Articulation
from shortway.scores.notation.accidentals import COURTESY
from shortway.scores.notation.clefs import Clef
from shortway.scores.notation.durations import (
    NOTE_TYPES,
    MeterNode,
    NoteValue,
    Ratio,
    Segment,
    meter_tree,
    split_into_note_values,
)
from shortway.scores.notation.elements import element, text_element, text_elements
from shortway.scores.notation.key_signatures import split_note_name
from shortway.scores.notation.model import PlayedMeasure, Sonority

#: Beams of the short note values.
_BEAMS: Final = {
    name: count for count, name in enumerate(NOTE_TYPES[NOTE_TYPES.index("eighth") :], 1)
}
_ACCIDENTALS: Final = {
    -2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp",
}  # fmt: skip


class BeamedValue(NamedTuple):
    """A note value and its beams by level: begin, continue, end, or a hook."""

    value: NoteValue
    beams: tuple[str, ...]


class WrittenChord(NamedTuple):
    """A note value of a hand's measure, with the sonority that it is a part of, None in a rest.

    `tied` are the names of notes that are tied from before, `struck` of those that are not;
    `leads` are those of notes tied to what follows.
    """

    value: NoteValue
    beams: tuple[str, ...]
    span: Sonority | None
    tied: tuple[str, ...] = ()
    struck: tuple[str, ...] = ()
    leads: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class HandPart:
    """One hand over the whole score.

    `staff` and `voice` are MusicXML's numbers; `degrees`: whether each note's degree is written.
    `measures` and `clefs` have shape (measures,).
    """

    staff: int
    voice: int
    degrees: bool
    measures: Sequence[Sequence[WrittenChord]]
    clefs: Sequence[Clef]


def written_chords(
    bar: PlayedMeasure, spans: Sequence[Sonority], window: range
) -> list[WrittenChord]:
    """The note values of a hand in a measure, rests included; times from ``bar.start``.

    `window` has the indices of the spans that sound in the measure.
    """
    start = bar.start
    at = bar.onset - start
    segments = []
    for index in window:
        begin = max(bar.onset, spans[index].begin) - start
        end = min(bar.end, spans[index].end) - start
        segments += [Segment(at, begin, None), Segment(begin, end, index - window.start)]
        at = end
    segments.append(Segment(at, bar.end - start, None))
    if not window:
        return [WrittenChord(NoteValue(at, bar.end - start, None, "", 0), (), None)]
    found = []
    for value, beams in _beamed_values(bar.meter, tuple(segments)):
        if value.span is None:
            found.append(WrittenChord(value, beams, None))
        else:
            found.append(_written(value, beams, spans, window.start + value.span, start))
    return found


def _written(
    value: NoteValue, beams: tuple[str, ...], spans: Sequence[Sonority], index: int, start: Fraction
) -> WrittenChord:
    span = spans[index]
    names = tuple(note.note for note in span.notes)
    is_first = value.begin + start == span.begin
    if value.end + start < span.end:
        leads = frozenset(names)
    else:
        leads = spans[index + 1].held if index + 1 < len(spans) else frozenset()
    struck = tuple(name for name in names if is_first and name not in span.held)
    tied = tuple(name for name in names if name not in struck)
    return WrittenChord(value, beams, span, tied, struck, leads)


@lru_cache(maxsize=2048)
def _beamed_values(meter: Ratio, segments: tuple[Segment, ...]) -> tuple[BeamedValue, ...]:
    """The note values of a measure; many measures share them."""
    tree, length = meter_tree(meter), segments[-1].end
    if length > tree.end:
        edges = tuple(Fraction(k) for k in range(1, int(length) + 1) if k < length)
        tree = MeterNode(Fraction(0), length, edges, True)
    values = split_into_note_values(tree, segments)
    return tuple(map(BeamedValue, values, _beams(meter, values)))


def _beams(meter: Ratio, found: Sequence[NoteValue]) -> Iterator[tuple[str, ...]]:
    levels = [0 if value.span is None else _BEAMS.get(value.type, 0) for value in found]
    count, unit = meter
    beat = max(Fraction(4, unit) * (3 if count % 3 == 0 and count > 3 else 1), Fraction(1))
    groups = [int(value.begin / beat) for value in found]

    def joined(a: int, b: int, level: int) -> bool:
        inside = a >= 0 and b < len(found) and groups[a] == groups[b]
        return inside and min(levels[a], levels[b]) >= level

    for at, count in enumerate(levels):
        here: list[str] = []
        for level in range(1, count + 1):
            before, after = joined(at - 1, at, level), joined(at, at + 1, level)
            if before or after:
                here.append("continue" if before and after else "end" if before else "begin")
            elif joined(at - 1, at, 1) or joined(at, at + 1, 1):
                here.append("backward hook" if joined(at - 1, at, 1) else "forward hook")
        yield tuple(here)


def note_elements(
    hand: HandPart, written: WrittenChord, accidentals: Mapping[str, str], divisions: int
) -> Iterator[str]:
    """The notes of a value from the lowest, which carries beams and tuplet, or its rest."""
    value, span = written.value, written.span
    duration = int((value.end - value.begin) * divisions)
    if not value.type:
        said = text_elements(duration=duration, voice=hand.voice, staff=hand.staff)
        yield element("note", element("rest", measure="yes"), said)
        return
    shape = value.type, value.dots, value.ratio
    brackets = ("start",) * value.opens + ("stop",) * value.closes
    if span is None:
        yield _note(hand.staff, hand.voice, None, duration, shape, (), None, (), brackets)
        return
    for place, each in enumerate(span.notes):
        name = each.note
        ties = ("stop",) * (name in written.tied) + ("start",) * (name in written.leads)
        lyric = (len(span.notes) - place, each.degree) if hand.degrees and written.struck else None
        articulation = "" if place or not written.struck else span.articulation
        yield _note(
            hand.staff, hand.voice, name, duration, shape, ties, accidentals.get(name),
            () if place else written.beams, () if place else brackets, place > 0, lyric,
            articulation,
        )  # fmt: skip


@lru_cache(maxsize=8192)
def _note(
    staff: int,
    voice: int,
    name: str | None,
    duration: int,
    shape: tuple[str, int, Ratio | None],
    ties: tuple[str, ...],
    accidental: str | None,
    beams: tuple[str, ...],
    brackets: tuple[str, ...],
    chord: bool = False,
    lyric: tuple[int, str] | None = None,
    articulation: Articulation = "",
) -> str:
    """A note; without a name a rest. `accidental` is a kind of it; `lyric` a line and its text."""
    type_, dots, ratio = shape
    notations = [element("tied", type=tie) for tie in ties]
    notations += [element("tuplet", type=bracket, number=1) for bracket in brackets]
    if articulation:
        notations.append(element("articulations", element(articulation)))
    return element(
        "note",
        element("chord") if chord else "",
        element("rest") if name is None else _pitch(name),
        text_element("duration", duration),
        *(element("tie", type=tie) for tie in ties),
        text_elements(voice=voice, type=type_),
        element("dot") * dots,
        _accidental(name, accidental) if name and accidental else "",
        element(
            "time-modification", text_elements(actual_notes=ratio[0], normal_notes=ratio[1])
        ) if ratio else "",
        text_element("staff", staff),
        *(text_element("beam", beam, number=level) for level, beam in enumerate(beams, 1)),
        element("notations", *notations) if notations else "",
        element(
            "lyric", text_elements(syllabic="single", text=lyric[1]),
            number=lyric[0], placement="below",
        ) if lyric else "",
    )  # fmt: skip


def _pitch(name: str) -> str:
    letter, alter, octave = split_note_name(name)
    return element("pitch", text_elements(step=letter, alter=alter or None, octave=octave))


def _accidental(name: str, kind: str) -> str:
    sign = _ACCIDENTALS[split_note_name(name)[1]]
    return text_element("accidental", sign, cautionary="yes" if kind == COURTESY else None)
