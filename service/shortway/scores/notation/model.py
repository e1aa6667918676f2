"""Music: all that the writers of scores, sound and pictures need, made once from a path.

Knows charts and paths, no format and no library. Times are exact, in quarter notes from the
beginning of the first measure as played: repeats are written out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import Final, Literal

from shortway.core.cancellation import checkpoint
from shortway.core.charts import Chart
from shortway.core.rhythm.onsets import Onset, onsets
from shortway.core.rhythm.patterns import PATTERNS, Pattern
from shortway.core.solver.results import Path, PathStep
from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import SIGN_OF
from shortway.core.voicings.model import Note
from shortway.core.voicings.spelling import practical_spelling
from shortway.scores.leadsheet.model import LeadSheet
from shortway.scores.notation.key_signatures import (
    guess_key,
    key_fifths,
    signature_alterations,
)

HELD: Final = ("tied", "struck")
PICTURES: Final = ("staff", "keyboards", "lines")
TEMPO: Final = (20, 400)
DEFAULT_TEMPO: Final = 120
#: Of a picture, px.
WIDTH: Final = (240, 4000)
DEFAULT_WIDTH: Final = 960

Staff = Literal["right", "left"]
STAVES: Final[tuple[Staff, Staff]] = ("right", "left")


@dataclass(frozen=True, slots=True)
class ScoreDisplay:
    """What is shown: common notes tied or struck again, symbols, degrees; which picture, how wide.

    `width` is a picture's in px.
    """

    held: str = "tied"
    symbols: bool = True
    degrees: bool = False
    picture: str = "staff"
    width: float = DEFAULT_WIDTH


@dataclass(frozen=True, slots=True)
class PlayedMeasure:
    """A measure as played.

    Attributes
    ----------
    source : int
        The chart's measure, from 1.
    number : int
        Its own number, from 1, or from 0 where a pickup begins.
    onset, length : Fraction
        In quarter notes.
    pickup : bool
        A short first measure, which ends where a full one would.
    """

    source: int
    number: int
    onset: Fraction
    length: Fraction
    meter: tuple[int, int]
    key: str
    pickup: bool = False


@dataclass(frozen=True, slots=True)
class PlacedSymbol:
    """A chord symbol, and the quarter notes until it stands."""

    onset: Fraction
    chord: Chord


@dataclass(frozen=True, slots=True)
class Sonority:
    """What a hand holds from one time to another.

    Attributes
    ----------
    held : frozenset of str
        Names of the notes that sound on from the span before and are not struck again.
    """

    begin: Fraction
    end: Fraction
    notes: tuple[Note, ...]
    held: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Score:
    """A path as music.

    Attributes
    ----------
    tempo : float
        Quarter notes a minute.
    bars, signs
        In playing order.
    sheet : Sheet or None
        The lead sheet that the chart was read from.
    left, right : tuple of Span
        What each hand plays, in order and never two at once; between them it rests.
    swing : Fraction
        The longer eighth note over the shorter as it sounds; what is written is straight.
    """

    title: str | None
    tempo: float
    bars: tuple[PlayedMeasure, ...]
    signs: tuple[PlacedSymbol, ...]
    right: tuple[Sonority, ...]
    left: tuple[Sonority, ...]
    path: Path
    chart: Chart
    show: ScoreDisplay
    sheet: LeadSheet | None = None
    swing: Fraction = Fraction(1)

    def hand(self, staff: Staff) -> tuple[Sonority, ...]:
        """What the hand of `staff` plays."""
        return self.right if staff == "right" else self.left

    @property
    def end(self) -> Fraction:
        """Quarter notes in all."""
        return self.bars[-1].onset + self.bars[-1].length


def build_score(
    chart: Chart,
    path: Path,
    *,
    title: str | None = None,
    tempo: float = DEFAULT_TEMPO,
    show: ScoreDisplay | None = None,
    sheet: LeadSheet | None = None,
    rhythm: Pattern | None = None,
    loop: bool = False,
) -> Score:
    """The music of a path through `chart`.

    Parameters
    ----------
    title : str, optional
        The chart's where not given.
    tempo : float
        Quarter notes a minute.
    sheet : Sheet, optional
        The lead sheet that the chart was read from. Without a key it has no signature; any other
        chart without one gets that with the fewest accidentals.
    rhythm : Pattern, optional
        When the chords are struck; each once, for as long as it lasts, where not given.
    loop : bool
        Whether what anticipates after the last chord anticipates the first.
    """
    shown, path = show or ScoreDisplay(), practical_path(chart, path)
    names = (note.note for step in path.steps if step.voicing for note in step.voicing.notes)
    bars = tuple(_bars(chart, chart.key or (guess_key(names) if sheet is None else "C")))
    pattern = rhythm or PATTERNS["held"]
    struck = onsets(chart, [step.step for step in path.steps], pattern, loop=loop)
    if pattern.strokes:
        shown = replace(shown, held="struck")
    signs = tuple(
        PlacedSymbol(onset, step.step.chord)
        for onset, step in zip(_onsets(chart, bars), path.steps, strict=True)
    )
    right, left = (tuple(_spans(path, struck, staff, shown)) for staff in STAVES)
    named = title or chart.title
    return Score(named, tempo, bars, signs, right, left, path, chart, shown, sheet, pattern.swing)


def practical_path(chart: Chart, path: Path) -> Path:
    """`path` with practical note names: the one place where scores and pictures choose them.

    Names in the signature of a named key stay.
    """

    def spelled(step: PathStep) -> PathStep:
        if step.voicing is None:
            return step
        key = chart.key_at(step.step.measure)
        altered = signature_alterations(key_fifths(key)[0]).items() if key else ()
        kept = {letter + SIGN_OF[alter] for letter, alter in altered}
        return replace(step, voicing=practical_spelling(step.voicing, step.step.chord, kept))

    return replace(path, steps=tuple(map(spelled, path.steps)))


def quarters_per_beat(meter: tuple[int, int]) -> Fraction:
    """Quarter notes of a beat of `meter`."""
    return Fraction(4, meter[1])


def _bars(chart: Chart, key: str) -> Iterator[PlayedMeasure]:
    """The measures in playing order; a short first one is a pickup, numbered 0.

    `key` is that of the beginning, named or guessed.
    """
    lengths = [sum((e.beats for e in measure), Fraction(0)) for measure in chart.measures]
    onset = Fraction(0)
    short = lengths[chart.order[0] - 1] < chart.meter[0] and len(chart.order) > 1
    for place, source in enumerate(chart.order):
        meter = chart.meter_at(source)
        length = lengths[source - 1] * quarters_per_beat(meter)
        is_pickup = place == 0 and short
        here = chart.key_at(source) or key
        yield PlayedMeasure(source, place + (not short), onset, length, meter, here, is_pickup)
        onset += length


def _onsets(chart: Chart, bars: Iterable[PlayedMeasure]) -> Iterator[Fraction]:
    """When each step begins, in quarter notes."""
    for bar in bars:
        onset = bar.onset
        for entry in chart.measures[bar.source - 1]:
            yield onset
            onset += entry.beats * quarters_per_beat(bar.meter)


def _spans(
    path: Path, struck: Sequence[Onset], staff: Staff, show: ScoreDisplay
) -> Iterator[Sonority]:
    """What one hand plays; what it holds unchanged is one span."""
    last: Sonority | None = None
    for hit in struck:
        checkpoint()
        voicing = path.steps[hit.step].voicing
        notes = () if voicing is None else voicing.right if staff == "right" else voicing.left
        if not notes:
            continue
        begin, end = hit.onset, hit.onset + hit.beats
        if last is None or show.held != "tied" or last.end != begin:
            yield from () if last is None else (last,)
            last = Sonority(begin, end, notes)
        elif _same(last.notes, notes, show.degrees):
            last = Sonority(last.begin, end, last.notes, last.held)
        else:
            yield last
            common = {n.note for n in last.notes} & {n.note for n in notes}
            last = Sonority(begin, end, notes, frozenset(common))
    yield from () if last is None else (last,)


def _same(before: Sequence[Note], after: Sequence[Note], by_degree: bool) -> bool:
    """Whether nothing that is shown changes."""
    if by_degree:
        return tuple(before) == tuple(after)
    return [n.note for n in before] == [n.note for n in after]


def tied_into_next(spans: Sequence[Sonority]) -> list[frozenset[str]]:
    """Of each span, the names of notes that sound on into the next."""
    return [after.held for _, after in pairwise(spans)] + [frozenset()] * bool(spans)
