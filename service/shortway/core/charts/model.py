"""Chart, its entries and steps as frozen values, and what both forms of a chart share.

Knows symbols, chord, pitch and errors; neither the text grammar (`charts.text_parser`) nor
the JSON form (`shortway.core.charts`). Measures are written once and played in `Chart.order`, in
which repeats and endings are already unrolled; beats are exact fractions of the meter's unit.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache, partial
from typing import Final, NamedTuple, TypeVar

from shortway.core.cache import Memo
from shortway.core.errors import BeatsError, ChartError, Fault, TooLarge
from shortway.core.theory.chord import Chord

#: Steps that a chart may have once its repeats are unrolled.
MAX_STEPS = 4096
#: Beats are fractions with a denominator up to this.
MAX_DENOMINATOR = 96


class Place(NamedTuple):
    """Where something stands in a text: line and column from 1, length, in code points."""

    line: int
    column: int
    length: int


@dataclass(frozen=True, slots=True)
class Entry:
    """One chord in a measure: as written, as read, and for how many beats.

    Attributes
    ----------
    melody : tuple of int
        MIDI numbers of the notes that someone else sings or plays over it.
    ceiling, top : int or None
        MIDI numbers: what every note stays below, and the note on top.
    colours : tuple of str or None
        Degrees that may be added to what the symbol writes, whatever the chord's function; None
        leaves that to the setting.
    place : Place or None
        Of the symbol, or of the ``%`` or ``/`` that stands for it, in a text chart; not compared.
    unrolled : UnrolledEntry or None
        A place for what `unroll` makes of it.
    """

    symbol: str
    chord: Chord
    beats: Fraction
    melody: tuple[int, ...] = ()
    ceiling: int | None = None
    top: int | None = None
    colours: tuple[str, ...] | None = None
    place: Place | None = field(default=None, compare=False, repr=False)
    unrolled: UnrolledEntry | None = field(default=None, init=False, compare=False, repr=False)

    @property
    def constrained(self) -> bool:
        """Whether a melody, a ceiling or a top limits its voicing."""
        return bool(self.melody) or self.ceiling is not None or self.top is not None


Measure = tuple[Entry, ...]


@dataclass(slots=True, unsafe_hash=True)
class Shared:
    """What steps share: a place for what a serializer makes of it, empty before."""

    fragment: bytes = field(default=b"", compare=False, repr=False)


class Section(NamedTuple):
    """A named part of a chart: the measure that it begins with, from 1."""

    measure: int
    name: str


@dataclass(frozen=True, slots=True)
class Chart:
    """Measures of chords.

    Attributes
    ----------
    measures : tuple of tuple of Entry
        As written, each once.
    meter : (int, int)
        Beats in a measure, and the note that is one beat.
    key : str or None
        ``Eb``, or ``Cm`` in minor; it changes nothing in what the symbols mean.
    title : str or None
    order : tuple of int
        The measures as played, by their numbers from 1.
    meters, keys : tuple of (int, ...)
        Changes of meter and of key after the first measure: from which measure on, ascending.
    fresh : tuple of int
        Measures that begin afresh, ascending: no chord before them is heard as leading into them.
    sections : tuple of Section
        Ascending.
    """

    measures: tuple[Measure, ...]
    meter: tuple[int, int] = (4, 4)
    key: str | None = None
    title: str | None = None
    order: tuple[int, ...] = ()
    meters: tuple[tuple[int, tuple[int, int]], ...] = ()
    keys: tuple[tuple[int, str], ...] = ()
    fresh: tuple[int, ...] = ()
    sections: tuple[Section, ...] = ()

    def __post_init__(self) -> None:
        """Without an order, each measure is played once."""
        if not self.order:
            object.__setattr__(self, "order", tuple(range(1, len(self.measures) + 1)))

    def meter_at(self, number: int) -> tuple[int, int]:
        """The meter of measure `number`, from 1."""
        return _latest(self.meters, number, self.meter) if self.meters else self.meter

    def key_at(self, number: int) -> str | None:
        """The key of measure `number`, from 1."""
        return _latest(self.keys, number, self.key)


T = TypeVar("T")


def _latest(changes: Sequence[tuple[int, T]], number: int, first: T) -> T:
    if not changes:
        return first
    at = bisect_right(changes, number, key=lambda change: change[0])
    return changes[at - 1][1] if at else first


class Step(NamedTuple):
    """One chord occurrence of the unrolled chart.

    Attributes
    ----------
    number : int
        From 0.
    measure : int
        The written measure's number, from 1.
    repetition : int
        How many times the measure has been played, this time included.
    onset : Fraction
        Quarter notes from the beginning.
    beat : Fraction
        Where in the measure it begins, from 1; a short first measure begins on 1, too.
    beats : Fraction
        How long it lasts, in beats of the meter.
    meter : (int, int)
    share : float
        How much of a full measure it lasts.
    symbol : str
        As written.
    chord : Chord
    place, melody, ceiling, top, colours, constrained
        As those of its `Entry`.
    shared : Shared
        By the steps whose fields from `beat` to `colours` are equal.
    """

    number: int
    measure: int
    repetition: int
    onset: Fraction
    place: Place | None
    beat: Fraction
    beats: Fraction
    meter: tuple[int, int]
    share: float
    symbol: str
    chord: Chord
    melody: tuple[int, ...]
    ceiling: int | None
    top: int | None
    colours: tuple[str, ...] | None
    constrained: bool
    shared: Shared


#: The fields of a step from `beat` on, which steps share.
StepPart = tuple[object, ...]
#: Of an entry so many beats after the beginning of a measure of this meter: the quarter notes to
#: its beginning and its end, the beat that it ends on, from 0, and the part.
UnrolledEntry = tuple[
    int | Fraction, tuple[int, int], int | Fraction, int | Fraction, int | Fraction, StepPart
]


def unroll(chart: Chart) -> tuple[Step, ...]:
    """The steps of `chart` in playing order."""
    played = [0] * (1 + len(chart.measures))
    start: int | Fraction = 0
    steps: list[Step] = []
    for number in chart.order:
        played[number] = times = played[number] + 1
        meter = chart.meter_at(number) if chart.meters else chart.meter
        at: int | Fraction = 0
        end: int | Fraction = 0
        for entry in chart.measures[number - 1]:
            known = entry.unrolled
            if known is None or known[0] != at or known[1] != meter:
                known = _unrolled(entry, at, meter)
            _, _, begin, end, at, part = known
            when = len(steps), number, times, _fraction(start + begin), entry.place
            steps.append(tuple.__new__(Step, when + part))
        start = start + end if type(end) is int else exact(start + end)
    return tuple(steps)


def _unrolled(entry: Entry, at: int | Fraction, meter: tuple[int, int]) -> UnrolledEntry:
    """What stays with an entry as it is unrolled, for most are in the same place again."""
    over, under = entry.beats.as_integer_ratio()
    begin, end = at, at + over if under == 1 else exact(at + entry.beats)
    after, unit = end, meter[1]
    if unit != 4:
        begin, end = exact(Fraction(4 * begin, unit)), exact(Fraction(4 * end, unit))
    if entry.constrained or entry.colours is not None:
        part = _part(entry, at, meter)
    else:
        key = entry.symbol, id(entry.chord), over, under, at, meter  # a part holds its chord
        part = _PARTS.get(key) or _PARTS.recall(key, partial(_part, entry, at, meter))
    found = at, meter, begin, end, after, part
    if entry.place is None:  # of a text, which has chords of its own
        object.__setattr__(entry, "unrolled", found)
    return found


_PARTS: Final[Memo[tuple[object, ...], StepPart]] = Memo("step parts", 4 << 20, lambda _: 400)


def _part(entry: Entry, at: int | Fraction, meter: tuple[int, int]) -> StepPart:
    """What the steps of an entry share that begins `at` beats after its measure."""
    over, under = entry.beats.as_integer_ratio()
    when = _fraction(1 + at), entry.beats, meter, over / under / meter[0]
    what = entry.symbol, entry.chord, entry.melody, entry.ceiling, entry.top, entry.colours
    return *when, *what, entry.constrained, Shared()


#: A number as a fraction; most are met again.
_fraction: Final = lru_cache(maxsize=1 << 14)(Fraction)


def exact(number: int | Fraction) -> int | Fraction:
    """`number`, a whole one as an int, with which sums are fast."""
    return number.numerator if number.denominator == 1 else number


def check_step_limit(measures: Sequence[Sequence[object]], order: Sequence[int]) -> None:
    """Refuse a chart that plays more than `MAX_STEPS` steps.

    Raises
    ------
    TooLarge
        With the number of steps and the limit.
    """
    steps = sum(len(measures[number - 1]) for number in order)
    if steps > MAX_STEPS:
        raise chart_too_large(steps)


def chart_too_large(steps: int) -> TooLarge:
    """The error of a chart with `steps` steps, or at least so many."""
    return TooLarge.at(
        "",
        f"the chart has {steps:,} chords or more to play; the limit is {MAX_STEPS:,}",
        expected=f"at most {MAX_STEPS:,} steps, repeats counted",
    )


def beats_error(number: int, have: Fraction, fit: int, fault: Fault) -> BeatsError:
    """The error of measure `number` that holds `have` beats where `fit` fit; `fault` says where."""
    detail = f"measure {number} has {_count(have)}; its meter has {_count(Fraction(fit))}"
    return BeatsError(detail, Fault(fault.pointer, detail, fault.position, fault.expected))


def _count(beats: Fraction) -> str:
    if beats > 1_000_000:
        return "more than a million beats"
    whole, rest = divmod(beats, 1)
    words = f"{whole} {rest}" if whole and rest else str(beats)
    return f"{words} beat" if beats == 1 else f"{words} beats"


def empty_chart(position: int | None = None) -> ChartError:
    """The error of a chart without a chord in it."""
    detail = "the chart is empty"
    return ChartError.at("", detail, position, "at least one measure, such as | Eb7 |")
