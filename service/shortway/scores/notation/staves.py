"""A hand's measure as MusicXML notes: note values, ties, accidentals, beams, tuplets, degrees."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from math import lcm
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
    """A note value and its beams by level: begin, continue, end, or a hook.

    `begin` and `length` are in `MeasureRhythm.divisions`; `first` and `last`: whether its span
    begins and ends with it.
    """

    value: NoteValue
    beams: tuple[str, ...]
    begin: int
    length: int
    first: bool
    last: bool


class MeasureRhythm(NamedTuple):
    """The note values of a hand in a measure, and of how many divisions of a quarter note all
    their times are multiples."""

    values: tuple[BeamedValue, ...]
    divisions: int


class WrittenChord(NamedTuple):
    """A note value of a hand's measure, with the sonority that it is a part of, None in a rest.

    `tied` are the names of notes that are tied from before, `struck` of those that are not;
    `leads` are those of notes tied to what follows.
    """

    beamed: BeamedValue
    span: Sonority | None
    tied: tuple[str, ...] = ()
    struck: tuple[str, ...] = ()
    leads: Collection[str] = ()


@dataclass(frozen=True, slots=True)
class HandPart:
    """One hand over the whole score.

    `staff` and `voice` are MusicXML's numbers; `degrees`: whether each note's degree is written.
    `rhythms`, `measures` and `clefs` have shape (measures,); `octaves`, those of the clefs, have a
    0 before and after.
    """

    staff: int
    voice: int
    degrees: bool
    rhythms: Sequence[MeasureRhythm]
    measures: Sequence[Sequence[WrittenChord]]
    clefs: Sequence[Clef]
    octaves: Sequence[int]


def measure_rhythm(
    bar: PlayedMeasure, ticks: int, spans: Sequence[Sonority], window: range
) -> MeasureRhythm:
    """The rhythm of a hand in a measure, rests included; times from ``bar.start``.

    `window` has the indices of the spans that sound in the measure.

    Raises SettingError if a time is too fine for note values.
    """
    at, end = bar.onset - bar.start, bar.end - bar.start
    segments = [at]
    for index in window:
        segments += (
            max(at, spans[index].begin - bar.start),
            min(end, spans[index].end - bar.start),
        )
    return _rhythm(bar.meter, ticks, (*segments, end))


@lru_cache(maxsize=2048)
def _rhythm(meter: Ratio, ticks: int, times: tuple[int, ...]) -> MeasureRhythm:
    """The rhythm of a measure: a rest, then by turns a sound and a rest, some of them empty; many
    measures share it."""
    bounds = [Fraction(time, ticks) for time in times]
    tree, length = meter_tree(meter), bounds[-1]
    segments = [
        Segment(begin, end, k // 2 if k % 2 else None)
        for k, (begin, end) in enumerate(pairwise(bounds))
    ]
    if len(segments) == 1:
        values = [NoteValue(*segments[0], "", 0)]
    else:
        if length > tree.end:
            edges = tuple(Fraction(k) for k in range(1, int(length) + 1) if k < length)
            tree = MeterNode(Fraction(0), length, edges, True)
        values = split_into_note_values(tree, segments)
    divisions = lcm(*(time.denominator for value in values for time in (value.begin, value.end)))
    begins, ends = set(bounds[1::2]), set(bounds[2::2])
    found = tuple(
        BeamedValue(
            value, beams, int(value.begin * divisions),
            int((value.end - value.begin) * divisions), value.begin in begins, value.end in ends,
        )
        for value, beams in zip(values, _beams(meter, values), strict=True)
    )  # fmt: skip
    return MeasureRhythm(found, divisions)


def written_chords(
    bar: PlayedMeasure, rhythm: MeasureRhythm, spans: Sequence[Sonority], window: range
) -> list[WrittenChord]:
    """The note values of a hand in a measure with their notes."""
    found = []
    for beamed in rhythm.values:
        if beamed.value.span is None:
            found.append(WrittenChord(beamed, None))
            continue
        index = window.start + beamed.value.span
        span = spans[index]
        names = tuple([note.note for note in span.notes])
        held: Collection[str] = names
        if beamed.first and span.begin >= bar.onset:
            held = span.held
        tied = tuple([name for name in names if name in held])
        struck = tuple([name for name in names if name not in held])
        leads: Collection[str] = names
        if beamed.last and span.end <= bar.end:
            leads = spans[index + 1].held if index + 1 < len(spans) else ()
        found.append(WrittenChord(beamed, span, tied, struck, leads))
    return found


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
    hand: HandPart, written: WrittenChord, accidentals: Mapping[str, str], scale: int
) -> Iterator[str]:
    """The notes of a value from the lowest, which carries beams and tuplet, or its rest.

    `scale` is the divisions of the measure for one of its rhythm.
    """
    (value, beams, _, length, _, _), span = written.beamed, written.span
    duration = length * scale
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
            () if place else beams, () if place else brackets, place > 0, lyric,
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
