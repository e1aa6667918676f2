"""Chords placed in the measures of a chart.

Knows the part reader and the core's charts; no XML but ``harmony`` elements. A chord lasts until
the next one, across bar lines too; before the first one is N.C. A later ending begins with the
chord that precedes the first ending, as in playback.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Final

from shortway.core.cancellation import checkpoint
from shortway.core.charts.headers import fit_meter
from shortway.core.charts.model import MAX_DENOMINATOR, MAX_STEPS, chart_too_large
from shortway.core.errors import BeatsError, ChartError, Fault, ShortwayError, SymbolError
from shortway.core.theory.chord import Chord
from shortway.scores.leadsheet.document.xml_values import chart_error
from shortway.scores.leadsheet.harmonies import NO_CHORD, read_harmony
from shortway.scores.leadsheet.part_reader import Part, PartMeasure, PlacedHarmony, error_in_measure

#: Chords of a measure.
MAX_CHORDS: Final = 64
#: Faults that one error reports.
MAX_FAULTS: Final = 20

ChordOnsets = list[tuple[Fraction, Chord]]


@dataclass(frozen=True, slots=True)
class MeasureTiming:
    """A measure's length in quarter notes and its meter."""

    length: Fraction
    meter: tuple[int, int]

    @property
    def beat(self) -> Fraction:
        """A beat in quarter notes."""
        return Fraction(4, self.meter[1])


def measure_timings(parts: Sequence[Part]) -> list[MeasureTiming]:
    """Length and meter of each measure.

    A measure that its notes do not fill, or overfill, has another meter, unless it is a short first
    or last one.

    Raises BeatsError if no meter fits a measure.
    """
    found: list[MeasureTiming] = []
    meter = (4, 4)
    count = len(parts[0])
    for index in range(count):
        checkpoint()
        across = [part[index] for part in parts]
        meter = next((walked.meter for walked in across if walked.meter), meter)
        full = Fraction(4 * meter[0], meter[1])
        length = max(walked.length for walked in across) or full
        own: tuple[int, int] | None = meter
        if length > full or (length < full and index not in (0, count - 1)):
            own = fit_meter(length, meter[1])
        if own is None:
            detail = f"measure {across[0].number} is {length} quarter notes long"
            expected = "notes and rests that fill the measure"
            raise BeatsError.at("", f"{detail}, which fits no meter", expected=expected)
        found.append(MeasureTiming(length, own))
    return found


def chord_onsets(parts: Sequence[Part], timings: Sequence[MeasureTiming]) -> list[ChordOnsets]:
    """The chords of each measure with their onsets.

    Raises SymbolError with each harmony that cannot be read; ChartError if parts disagree, or a
    harmony is misplaced.
    """
    wrong: list[ShortwayError] = []
    found: list[ChordOnsets] = []
    for index, timing in enumerate(timings):
        first: tuple[PartMeasure, ChordOnsets] | None = None
        for part in parts:
            walked = part[index]
            if not walked.harmonies:
                continue
            try:
                here = _chords_of_measure(walked, timing)
            except ShortwayError as error:
                single = (type(error)(fault.detail, fault) for fault in error.faults)
                wrong += [error_in_measure(one, walked) for one in single]
                continue
            first = first or (walked, here)
            if first[1] != here:
                wrong.append(_disagreement(first, (walked, here)))
        found.append(first[1] if first else [])
    if wrong:
        faults = [fault for error in wrong for fault in error.faults]
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        raise type(wrong[0])(faults[0].detail + more, *faults[:MAX_FAULTS])
    return found


def _chords_of_measure(walked: PartMeasure, timing: MeasureTiming) -> ChordOnsets:
    if len(walked.harmonies) > MAX_CHORDS:
        raise chart_error(f"a measure has {len(walked.harmonies)} chords", f"at most {MAX_CHORDS}")
    found: dict[Fraction, tuple[PlacedHarmony, Chord]] = {}
    faults: list[Fault] = []
    for given in sorted(walked.harmonies, key=lambda given: given.onset):
        try:
            _place(given, read_harmony(given.harmony, given.key, given.by), timing, found)
        except ShortwayError as error:
            faults += error.faults
    if faults:
        raise SymbolError(faults[0].detail, *faults)
    return [(onset, chord) for onset, (_, chord) in found.items()]


def _place(
    given: PlacedHarmony,
    chord: Chord,
    timing: MeasureTiming,
    found: dict[Fraction, tuple[PlacedHarmony, Chord]],
) -> None:
    """Add a chord at its onset; an alternate harmony gives way to another one there."""
    if not 0 <= given.onset < timing.length:
        detail = f"{chord.symbol} is outside the measure's {timing.length} quarter notes"
        raise chart_error(detail, "a place inside the measure")
    there = found.get(given.onset)
    if there is None or there[0].harmony.get("type") == "alternate":
        found[given.onset] = given, chord
    elif there[1] != chord and given.harmony.get("type") != "alternate":
        detail = f"{there[1].symbol} and {chord.symbol} are at one place"
        raise chart_error(detail, "one chord at a time")


def _disagreement(
    one: tuple[PartMeasure, ChordOnsets], two: tuple[PartMeasure, ChordOnsets]
) -> ChartError:
    said = [" ".join(chord.symbol for _, chord in onsets)[:60] for _, onsets in (one, two)]
    detail = f"{one[0].label} has {said[0]}, {two[0].label} has {said[1]}"
    beats = " at other beats" if said[0] == said[1] else ""
    expected = "parts that agree on the chords"
    return chart_error(f"measure {two[0].number}: {detail}{beats}", expected)


def sustain_chords(
    onsets: Sequence[ChordOnsets], first_endings: dict[int, int]
) -> list[ChordOnsets]:
    """`onsets` with a chord at the start of every measure.

    `first_endings` maps the first measure of each later ending to that of the first ending.

    Raises TooLarge if there are more chords than a chart may have.
    """
    found: list[ChordOnsets] = []
    chord = NO_CHORD
    entering: list[Chord] = []
    size = 0
    for index, here in enumerate(onsets):
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
    chords: ChordOnsets, timing: MeasureTiming, number: str
) -> list[tuple[Fraction, Fraction]]:
    """Begin and end of each chord, rounded to a grid that the beats of a chart can express.

    Raises BeatsError if two chords are closer than the grid.
    """
    places = [*(onset for onset, _ in chords), timing.length]
    lengths = [(after - before) / timing.beat for before, after in pairwise(places)]
    if any(length.denominator > MAX_DENOMINATOR for length in lengths):
        grid = timing.beat / MAX_DENOMINATOR
        places = [round(place / grid) * grid for place in places]
    found = list(pairwise(places))
    if any(begin >= end for begin, end in found):
        detail = f"measure {number} has chords closer than 1/{MAX_DENOMINATOR} beat"
        raise BeatsError.at("", detail, expected="longer chords")
    return found
