"""Walked measures as the measures of a chart.

Knows the walked parts and the core's charts; no XML but a harmony element. A chord holds until the
next one, over bar lines too; before the first one is N.C. At a later ending what held before the
first ending holds again, as it does when it is played.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Final

from shortway.core.cancellation import checkpoint
from shortway.core.charts.model import (
    MAX_DENOMINATOR,
    MAX_STEPS,
    chart_too_large,
    fit_meter,
)
from shortway.core.errors import BeatsError, ChartError, Fault, ShortwayError, SymbolError
from shortway.core.theory.chord import Chord
from shortway.scores.leadsheet.harmonies import NO_CHORD, read_harmony
from shortway.scores.leadsheet.part_reader import PartMeasure, PlacedHarmony, error_in_measure

#: Chords of a measure, and problems that are told of one sheet.
MAX_CHORDS: Final = 64
MAX_FAULTS: Final = 20

ChordOnsets = list[tuple[Fraction, Chord]]


@dataclass(frozen=True, slots=True)
class LabelledPart:
    """A part's measures, and what it is called."""

    label: str
    measures: Sequence[PartMeasure]


@dataclass(frozen=True, slots=True)
class MeasureTiming:
    """A measure's length in quarter notes and the meter that counts it."""

    length: Fraction
    meter: tuple[int, int]

    @property
    def beat(self) -> Fraction:
        """A beat in quarter notes."""
        return Fraction(4, self.meter[1])


def measure_timings(parts: Sequence[LabelledPart]) -> list[MeasureTiming]:
    """Length and meter of each measure.

    A measure that its notes leave short, or overfill, is one of another meter, unless it is the
    first or the last and short.

    Raises
    ------
    BeatsError
        If no meter fits a measure.
    """
    found: list[MeasureTiming] = []
    meter = (4, 4)
    count = len(parts[0].measures)
    for index in range(count):
        checkpoint()
        across = [part.measures[index] for part in parts]
        meter = next((walked.meter for walked in across if walked.meter), meter)
        full = Fraction(4 * meter[0], meter[1])
        length = max(walked.length for walked in across) or full
        if length == full or (length < full and index in (0, count - 1)):
            found.append(MeasureTiming(length, meter))
        else:
            found.append(MeasureTiming(length, _meter_of(length, meter[1], across[0].number)))
    return found


def _meter_of(length: Fraction, unit: int, number: str) -> tuple[int, int]:
    """The meter of a measure of `length` quarter notes, in `unit` or the next smaller one."""
    if (meter := fit_meter(length, unit)) is not None:
        return meter
    detail = f"measure {number} is {length} quarter notes long, which fits no meter"
    raise BeatsError.at("", detail, expected="notes and rests that fill the measure")


def chord_onsets(
    parts: Sequence[LabelledPart], spaces: Sequence[MeasureTiming]
) -> list[ChordOnsets]:
    """Where chords begin in each measure, and which.

    Raises
    ------
    SymbolError
        With each harmony that cannot be read.
    ChartError
        If parts disagree, or harmonies stand where none can.
    """
    wrong: list[ShortwayError] = []
    found: list[ChordOnsets] = []
    for index, frame in enumerate(spaces):
        heard: tuple[str, ChordOnsets] | None = None
        for part in parts:
            walked = part.measures[index]
            if not walked.harmonies:
                continue
            try:
                here = _of_measure(walked, frame)
            except ShortwayError as error:
                wrong += _each_placed(error, walked.number, part.label)
                continue
            if heard and heard[1] != here:
                wrong.append(_disagreement(walked.number, (heard[0], part.label), heard[1], here))
            heard = heard or (part.label, here)
        found.append(heard[1] if heard else [])
    if wrong:
        raise _together(wrong)
    return found


def _of_measure(walked: PartMeasure, frame: MeasureTiming) -> ChordOnsets:
    if len(walked.harmonies) > MAX_CHORDS:
        detail = f"a measure has {len(walked.harmonies)} chords"
        raise ChartError.at("", detail, expected=f"at most {MAX_CHORDS}")
    found: dict[Fraction, tuple[PlacedHarmony, Chord]] = {}
    faults: list[Fault] = []
    for given in sorted(walked.harmonies, key=lambda given: given.onset):
        try:
            chord = read_harmony(given.harmony, given.key, given.by)
            _check(given, chord, frame, found)
        except ShortwayError as error:
            faults += error.faults
    if faults:
        raise SymbolError(faults[0].detail, *faults)
    return [(onset, chord) for onset, (_, chord) in found.items()]


def _check(
    given: PlacedHarmony,
    chord: Chord,
    frame: MeasureTiming,
    found: dict[Fraction, tuple[PlacedHarmony, Chord]],
) -> None:
    """Put a chord where it begins; of two in one place an alternate one gives way."""
    if not 0 <= given.onset < frame.length:
        detail = f"{chord.symbol} is outside the measure's {frame.length} quarter notes"
        raise ChartError.at("", detail, expected="a place inside the measure")
    there = found.get(given.onset)
    alternate = given.harmony.get("type") == "alternate"
    if there is None or there[0].harmony.get("type") == "alternate":
        found[given.onset] = given, chord
    elif there[1] != chord and not alternate:
        detail = f"{there[1].symbol} and {chord.symbol} are at one place"
        raise ChartError.at("", detail, expected="one chord at a time")


def _each_placed(error: ShortwayError, number: str, label: str) -> Iterable[ShortwayError]:
    for fault in error.faults:
        yield error_in_measure(type(error)(fault.detail, fault), number, label)


def _disagreement(
    number: str, labels: tuple[str, str], one: ChordOnsets, two: ChordOnsets
) -> ChartError:
    said = [" ".join(chord.symbol for _, chord in onsets)[:60] for onsets in (one, two)]
    detail = f"measure {number}: {labels[0]} has {said[0]}, {labels[1]} has {said[1]}"
    if said[0] == said[1]:
        detail += " at other beats"
    return ChartError.at("", detail, expected="parts that agree on the chords")


def _together(wrong: Sequence[ShortwayError]) -> ShortwayError:
    """One error with the faults of all, the first ones told."""
    faults = [fault for error in wrong for fault in error.faults]
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    return type(wrong[0])(faults[0].detail + more, *faults[:MAX_FAULTS])


def sustain_chords(
    begun: Sequence[ChordOnsets], first_endings: dict[int, int]
) -> list[ChordOnsets]:
    """`begun` with a chord at the start of every measure.

    `first_endings` says of the first measure of each later ending which one begins the first.
    """
    found: list[ChordOnsets] = []
    chord = NO_CHORD
    entering: list[Chord] = []
    size = 0
    for index, here in enumerate(begun):
        if index in first_endings:
            chord = entering[first_endings[index]]
        entering.append(chord)
        starts = [*here] if here and not here[0][0] else [(Fraction(0), chord), *here]
        chord = starts[-1][1]
        size += len(starts)
        found.append(starts)
    if size > MAX_STEPS:
        raise chart_too_large(size)
    return found


def chord_intervals(
    chords: ChordOnsets, frame: MeasureTiming, number: str
) -> list[tuple[Fraction, Fraction]]:
    """Where each chord begins and ends, on a grid that beats of a chart can say.

    Raises
    ------
    BeatsError
        If two chords are nearer than the grid.
    """
    places = [*(onset for onset, _ in chords), frame.length]
    lengths = [(after - before) / frame.beat for before, after in pairwise(places)]
    if any(length.denominator > MAX_DENOMINATOR for length in lengths):
        grid = frame.beat / MAX_DENOMINATOR
        places = [round(place / grid) * grid for place in places]
    found = list(pairwise(places))
    if any(begin >= end for begin, end in found):
        detail = f"measure {number} has chords closer than 1/{MAX_DENOMINATOR} beat"
        raise BeatsError.at("", detail, expected="longer chords")
    return found
