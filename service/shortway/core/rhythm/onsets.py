"""Rhythm: when the chords of a chart are struck, by a comping pattern.

Knows charts and patterns, no voicing and no format. Times are exact, in quarter notes from the
beginning of the first measure as played. Notation is straight; `swing_position` says when it
sounds.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice, pairwise
from typing import Final

from shortway.core.cancellation import checkpoint
from shortway.core.charts import Chart, Step
from shortway.core.errors import TooLarge
from shortway.core.rhythm.patterns import Pattern

HALF: Final = Fraction(1, 2)
#: Hits of a pattern over a whole chart; a score of ten notes a hit has then some 25 MB.
MAX_HITS: Final = 8192


@dataclass(frozen=True, slots=True)
class Onset:
    """A step struck: which, when, and for how many quarter notes."""

    step: int
    onset: Fraction
    beats: Fraction


@dataclass(frozen=True, slots=True)
class _Placed:
    """A step with its place in quarter notes."""

    number: int
    step: Step
    onset: Fraction
    length: Fraction

    @property
    def end(self) -> Fraction:
        return self.onset + self.length


def onsets(
    chart: Chart, steps: Sequence[Step], pattern: Pattern, *, loop: bool = False
) -> tuple[Onset, ...]:
    """When each step is struck, in order, never two at once.

    A stroke sounds the chord that holds where it stands; one that anticipates sounds the chord that
    begins within a beat after it, across the bar line too, if any does (after the last one the
    first, in a loop). A stroke right where a chord begins sounds that chord. A chord that no stroke
    would sound is struck where it begins. No hit lasts over the next one or beyond the end of its
    chord. N.C. is silent.

    Parameters
    ----------
    steps : sequence of Step
        `shortway.core.charts.unroll(chart)`.

    Raises TooLarge at ``/rhythm`` if there are more than `MAX_HITS`.
    """
    bars = _bars(chart, steps)
    placed = [item for bar in bars for item in bar]
    found = list(islice(_struck(chart, bars, placed, pattern, loop), MAX_HITS + 1))
    if len(found) > MAX_HITS:
        played, hits = f"{len(bars):,} measures", f"{len(pattern.strokes)} hits"
        detail = f"{played} with {hits} in every {pattern.measures} have more than {MAX_HITS:,}"
        raise TooLarge.at("/rhythm", detail, expected=f"at most {MAX_HITS:,} hits in all")
    heard = {hit.step for hit in found if hit.onset < placed[hit.step].end}
    found += [Onset(p.number, p.onset, p.length) for p in placed if p.number not in heard]
    found = [hit for hit in found if steps[hit.step].chord.root is not None]
    return tuple(_cut(_apart(found), placed))


def _bars(chart: Chart, steps: Sequence[Step]) -> list[list[_Placed]]:
    """The measures as played, each with its steps."""
    placed = (_Placed(k, s, s.onset, s.beats * 4 / s.meter[1]) for k, s in enumerate(steps))
    return [list(islice(placed, len(chart.measures[source - 1]))) for source in chart.order]


def _struck(
    chart: Chart,
    bars: Sequence[Sequence[_Placed]],
    placed: Sequence[_Placed],
    pattern: Pattern,
    loop: bool,
) -> Iterator[Onset]:
    turn = 0
    for source, bar in zip(chart.order, bars, strict=True):
        checkpoint()
        meter = chart.meter_at(source)
        quarter = Fraction(4, meter[1])
        full = bar[-1].end - bar[0].onset == meter[0] * quarter
        if not pattern.strokes or not full or (pattern.meters and meter not in pattern.meters):
            turn = 0
            yield from (Onset(p.number, p.onset, p.length) for p in bar)
            continue
        first = 1 + turn * meter[0]
        for stroke in pattern.strokes:
            if first <= stroke.beat < first + meter[0]:
                at = bar[0].onset + (stroke.beat - first) * quarter
                step = _sounded(placed, bar, at, quarter if stroke.anticipate else None, loop)
                yield Onset(step.number, at, stroke.beats * quarter)
        turn = (turn + 1) % pattern.measures


def _sounded(
    placed: Sequence[_Placed],
    bar: Sequence[_Placed],
    at: Fraction,
    ahead: Fraction | None,
    loop: bool,
) -> _Placed:
    """The step that a stroke sounds; `ahead` is how far one that anticipates looks."""
    here = next(p for p in reversed(bar) if p.onset <= at)
    if ahead is None or here.onset == at or here.end > at + ahead:
        return here
    after = here.number + 1
    if after < len(placed):
        return placed[after]
    return placed[0] if loop else here


def _apart(found: Sequence[Onset]) -> list[Onset]:
    """The hits in order; of two at one time the later step's."""
    ordered = sorted(found, key=lambda hit: (hit.onset, -hit.step))
    return [hit for k, hit in enumerate(ordered) if k == 0 or hit.onset != ordered[k - 1].onset]


def _cut(found: Sequence[Onset], placed: Sequence[_Placed]) -> Iterator[Onset]:
    last = placed[-1].end if placed else Fraction(0)
    for hit, after in pairwise([*found, Onset(0, last, Fraction(1))]):
        own = placed[hit.step]
        # an anticipation of the first step of a loop has its chord's end behind it
        ends = own.end if own.end > hit.onset else last
        end = min(hit.onset + hit.beats, after.onset, ends)
        yield Onset(hit.step, hit.onset, end - hit.onset)


def swing_position(place: Fraction, swing: Fraction) -> Fraction:
    """Where a place within a quarter note, 0 to 1, sounds: the off-beat eighth comes later.

    >>> [str(swing_position(Fraction(n, 4), Fraction(2))) for n in range(4)]
    ['0', '1/3', '2/3', '5/6']
    """
    late = swing / (swing + 1)
    if place < HALF:
        return place * 2 * late
    return late + (place - HALF) * 2 * (1 - late)
