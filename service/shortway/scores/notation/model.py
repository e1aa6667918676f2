"""A path as music: the model that the writers of scores, MIDI and pictures share.

Knows charts and paths, no format and no library. Times are ticks from the start of the first
measure as played, so many a quarter note that all are exact; repeats are expanded.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from math import lcm
from typing import Final, Literal, NamedTuple

from shortway.core.cancellation import checkpoint
from shortway.core.charts import Chart
from shortway.core.harmony.functions import main_key
from shortway.core.rhythm.onsets import Articulation, Onset, in_ticks, onsets
from shortway.core.rhythm.rhythm import Rhythm
from shortway.core.solver.results import Path, PathStep
from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import SIGN_OF
from shortway.core.voicings.model import Note
from shortway.core.voicings.spelling import practical_spelling
from shortway.scores.display import ScoreDisplay
from shortway.scores.leadsheet.model import LeadSheet, SheetTempi
from shortway.scores.notation.key_signatures import key_fifths, signature_alterations
from shortway.scores.sound import DEFAULT_SOUND, DEFAULT_TEMPO, ScoreSound

Staff = Literal["right", "left"]
STAVES: Final[tuple[Staff, Staff]] = ("right", "left")

#: An onset with its begin and end in ticks.
Hit = tuple[Onset, int, int]


@dataclass(frozen=True, slots=True)
class PlayedMeasure:
    """A measure as played, from `onset` to `end` in ticks.

    `source` is the chart's measure, from 1; `number` is printed: from 1, or from 0 if the first
    measure is a `pickup`, which is short and ends where a full one would. Beats count from `start`,
    which is before `onset` in a pickup.
    """

    source: int
    number: int
    onset: int
    end: int
    start: int
    meter: tuple[int, int]
    key: str

    @property
    def pickup(self) -> bool:
        """Whether it is a short first measure."""
        return self.start < self.onset


class PlacedSymbol(NamedTuple):
    """A chord symbol and its onset in ticks."""

    onset: int
    chord: Chord


class Sonority(NamedTuple):
    """The notes that a hand holds from tick `begin` to `end`; those in `held` are tied from before.

    `step` is the path's step that is struck at `begin`, from 0; `early`: before its chord begins.
    """

    begin: int
    end: int
    notes: tuple[Note, ...]
    held: frozenset[str] = frozenset()
    step: int = 0
    articulation: Articulation = ""
    early: bool = False


@dataclass(frozen=True, slots=True)
class Score:
    """A path as music.

    `tempi` has tick and quarter notes a minute, of `ticks` each, of each tempo; the first is at 0.
    `bars` and `signs` are in playback order.
    `left` and `right` are what the hands play, in order, without overlaps; a gap is a rest. `swing`
    is the sounding ratio of a long to a short eighth note; notation is straight. `last_chorus` is
    the measure as played, from 0, with which the last of several choruses begins.
    """

    title: str | None
    tempi: tuple[tuple[int, float], ...]
    ticks: int
    bars: tuple[PlayedMeasure, ...]
    signs: tuple[PlacedSymbol, ...]
    right: tuple[Sonority, ...]
    left: tuple[Sonority, ...]
    path: Path
    chart: Chart
    show: ScoreDisplay
    sheet: LeadSheet | None = None
    swing: Fraction = Fraction(1)
    sound: ScoreSound = DEFAULT_SOUND
    last_chorus: int | None = None

    def hand(self, staff: Staff) -> tuple[Sonority, ...]:
        """What the hand of `staff` plays."""
        return self.right if staff == "right" else self.left

    def quarters(self, time: int) -> Fraction:
        """A time in quarter notes."""
        return Fraction(time, self.ticks)

    @property
    def end(self) -> int:
        """Length in ticks."""
        return self.bars[-1].end

    @property
    def tempo(self) -> float:
        """The first tempo."""
        return self.tempi[0][1]

    @property
    def tempo_mark(self) -> tuple[bool, float]:
        """Whether it is in dotted quarters, as in 6/8 where their number is whole; the number."""
        beats, unit = self.bars[0].meter
        dotted = unit == 8 and beats > 3 and beats % 3 == 0 and 2 * self.tempo % 3 == 0
        return dotted, self.tempo * 2 / 3 if dotted else self.tempo


def build_score(
    chart: Chart,
    path: Path,
    *,
    title: str | None = None,
    tempo: float | None = None,
    tempi: SheetTempi = {},  # noqa: B006
    show: ScoreDisplay | None = None,
    sheet: LeadSheet | None = None,
    rhythm: Rhythm | None = None,
    loop: bool = False,
    sound: ScoreSound | None = None,
    last_chorus: int | None = None,
) -> Score:
    """The music of a path through `chart`.

    Parameters
    ----------
    title : str, optional
        Default: the chart's.
    tempo : float, optional
        Quarter notes a minute. Default: `tempi`, those of a lead sheet by measure; else 120.
    sheet : LeadSheet, optional
        The lead sheet that the chart was read from. Without a key it has no signature; any other
        chart without a key gets that of the key that most of its chords are heard in.
    rhythm : Rhythm, optional
        When the chords are struck. Default: each once, for its whole length.
    loop : bool
        Whether an anticipation after the last chord belongs to the first.
    last_chorus : int, optional
        The measure as played, from 0, with which the last of several choruses begins; after several
        the last chord is struck once and held.
    """
    shown, steps = show or ScoreDisplay(), [step.step for step in path.steps]
    key = chart.key or (main_key(chart, steps) if sheet is None else None) or "C"
    path = practical_path(replace(chart, key=key), path)
    rhythm = rhythm or Rhythm()
    struck = onsets(
        chart,
        steps,
        rhythm,
        loop=loop and last_chorus is None,
        last_chorus=last_chorus,
        ending=last_chorus is not None or (rhythm.varied and not loop),
        melody=sheet.onsets if sheet else None,
    )
    if not rhythm.held:
        shown = replace(shown, held="struck")
    ticks = _ticks_a_quarter(chart, struck)
    begins = [in_ticks(step.onset, ticks) for step in steps]
    signs = tuple(PlacedSymbol(at, step.chord) for at, step in zip(begins, steps, strict=True))
    hits = [(h, at := in_ticks(h.onset, ticks), at + in_ticks(h.beats, ticks)) for h in struck]
    right, left = (tuple(_spans(path, hits, begins, staff, shown)) for staff in STAVES)
    named, bars = title or chart.title, tuple(_bars(chart, key, ticks))
    played = ((0, tempo),) if tempo else tuple(_tempi(bars, tempi, ticks))
    return Score(
        named, played, ticks, bars, signs, right, left, path, chart,
        shown, sheet, rhythm.swing, sound or DEFAULT_SOUND, last_chorus,
    )  # fmt: skip


def _ticks_a_quarter(chart: Chart, struck: Iterable[Onset]) -> int:
    """Ticks of which all times are multiples."""
    times = {time.denominator for hit in struck for time in (hit.onset, hit.beats)}
    beats = {entry.beats.denominator for measure in chart.measures for entry in measure}
    units = {meter[1] for meter in (chart.meter, *(meter for _, meter in chart.meters))}
    return lcm(*times, lcm(*beats) * lcm(*units))


def _tempi(
    bars: Sequence[PlayedMeasure], given: SheetTempi, ticks: int
) -> Iterator[tuple[int, float]]:
    """The tempi as played; at the beginning the one that holds there."""
    marks = {
        min(bar.end, bar.onset + int(onset * ticks)): tempo
        for bar in bars
        for onset, tempo in given.get(bar.source, ())
    }
    if 0 not in marks:
        before = [tempo for measure in range(bars[0].source) for _, tempo in given.get(measure, ())]
        yield 0, before[-1] if before else DEFAULT_TEMPO
    yield from marks.items()


def practical_path(chart: Chart, path: Path) -> Path:
    """`path` with practical note names, except for those in the signature of a named key."""

    @cache
    def kept(key: str | None) -> set[str]:
        altered = signature_alterations(key_fifths(key)[0]).items() if key else ()
        return {letter + SIGN_OF[alter] for letter, alter in altered}

    def spelled(step: PathStep) -> PathStep:
        if step.arrival is None:
            return step
        own = kept(chart.key_at(step.step.measure))
        voicing = practical_spelling(step.arrival.voicing, step.step.chord, own)
        return step._replace(arrival=replace(step.arrival, voicing=voicing))

    return replace(path, steps=tuple(map(spelled, path.steps)))


def _bars(chart: Chart, key: str, ticks: int) -> Iterator[PlayedMeasure]:
    """The measures in playback order; a short first one is a pickup. `key` is the default key."""
    onset = pickups = 0
    for place, source in enumerate(chart.order, 1):
        here, short = chart.key_at(source) or key, place == 1 < len(chart.order)
        bar = place_measure(chart, source, place - pickups, onset, here, ticks, pickup=short)
        yield bar
        onset, pickups = bar.end, pickups or int(bar.pickup)


def place_measure(
    chart: Chart, source: int, number: int, onset: int, key: str, ticks: int, *, pickup: bool
) -> PlayedMeasure:
    """The measure `source` of a chart, from 1, at `onset`; a short one may be a `pickup`, which has
    the number before `number`."""
    meter = chart.meter_at(source)
    beat = 4 * ticks // meter[1]
    end = onset + sum(in_ticks(entry.beats, beat) for entry in chart.measures[source - 1])
    start = min(onset, end - meter[0] * beat) if pickup else onset
    return PlayedMeasure(source, number - (start < onset), onset, end, start, meter, key)


def _spans(
    path: Path, hits: Sequence[Hit], begins: Sequence[int], staff: Staff, show: ScoreDisplay
) -> Iterator[Sonority]:
    """What one hand plays; notes that it holds unchanged are one sonority. `begins`: of steps."""
    last: Sonority | None = None
    for hit, begin, end in hits:
        checkpoint()
        voicing = path.steps[hit.step].voicing
        notes = () if voicing is None else voicing.right if staff == "right" else voicing.left
        if not notes:
            continue
        held = frozenset[str]()
        if last is not None and show.held == "tied" and last.end == begin:
            if _same(last.notes, notes, show.degrees):
                last = last._replace(end=end)
                continue
            held = frozenset({n.note for n in last.notes} & {n.note for n in notes})
        if last is not None:
            yield last
        early = begin < begins[hit.step]
        last = Sonority(begin, end, notes, held, hit.step, hit.articulation, early)
    if last is not None:
        yield last


def _same(before: Sequence[Note], after: Sequence[Note], by_degree: bool) -> bool:
    """Whether two chords look the same."""
    if by_degree:
        return tuple(before) == tuple(after)
    return [n.note for n in before] == [n.note for n in after]


def sounding_ranges(bars: Sequence[PlayedMeasure], spans: Sequence[Sonority]) -> Iterator[range]:
    """For each measure the indices of the sonorities that sound in it."""
    first = 0
    for bar in bars:
        while first < len(spans) and spans[first].end <= bar.onset:
            first += 1
        last = first
        while last < len(spans) and spans[last].begin < bar.end:
            last += 1
        yield range(first, last)
