"""Onsets: when the chords of a chart are struck, and how.

Knows charts and rhythms, no voicing and no format. Times are exact, in quarter notes from the
beginning of the first measure as played. Notation is straight; `swing_position` says when it
sounds. Inside, times are integers: so many ticks, of which each time is a multiple.
"""

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import islice, pairwise
from math import lcm
from typing import Final, Literal, NamedTuple

from shortway.core.cancellation import checkpoint
from shortway.core.charts import Chart, Step
from shortway.core.errors import TooLarge
from shortway.core.rhythm.bars import Bar, PlacedStep, played_bars
from shortway.core.rhythm.comping import BarHits, MelodyOnsets, bar_hits
from shortway.core.rhythm.patterns import PatternHit
from shortway.core.rhythm.rhythm import Rhythm

HALF: Final = Fraction(1, 2)
#: Hits of a pattern over a whole chart; a score of ten notes a hit has then some 25 MB.
MAX_HITS: Final = 8192
MOST_CHORUSES: Final = 50
#: From this length on, in quarter notes, a note has no mark: it is held in any case.
_LONG: Final = 1.5

Articulation = Literal["", "staccato", "tenuto"]


class Onset(NamedTuple):
    """A step struck: which, when, for how many quarter notes as written, and how.

    A hit of a pattern of up to half a beat, or of a pattern of short hits, is staccato. A longer
    one before a rest is tenuto, if it is shorter than a dotted quarter: it is held for all of its
    value (common practice, no source).
    """

    step: int
    onset: Fraction
    beats: Fraction
    articulation: Articulation = ""


def onsets(
    chart: Chart,
    steps: Sequence[Step],
    rhythm: Rhythm,
    *,
    loop: bool = False,
    last_chorus: int | None = None,
    ending: bool = False,
    melody: MelodyOnsets | None = None,
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
    last_chorus : int, optional
        The measure as played, from 0, with which the last of several choruses begins; a varied
        rhythm is denser from there on.
    ending : bool
        Whether the last chord is struck once and held.
    melody : mapping, optional
        Onsets of a melody, for which a varied rhythm leaves room.

    Raises
    ------
    TooLarge
        At ``/rhythm``, if there are more than `MAX_HITS`.
    """
    bars = played_bars(chart, steps)
    plan = list(bar_hits(bars, rhythm, melody=melody, last_chorus=last_chorus))
    ticks = _ticks_a_quarter(bars, plan)
    inside = [[_span(item, ticks) for item in bar.steps] for bar in bars]
    placed = [item for here in inside for item in here]
    strokes = _strokes(bars, plan, ticks)
    found = list(islice(_struck(inside, placed, strokes, loop), MAX_HITS + 1))
    if len(found) > MAX_HITS:
        detail = f"{len(bars):,} measures in this rhythm have more than {MAX_HITS:,} hits"
        raise TooLarge.at("/rhythm", detail, expected=f"at most {MAX_HITS:,} hits in all")
    heard = {hit.step for hit in found if hit.onset < placed[hit.step].end}
    found += [_held(p) for p in placed if p.number not in heard]
    found = _apart(hit for hit in found if steps[hit.step].chord.root is not None)
    cut = _cut(_ended(found, placed) if ending else found, placed, ticks)
    return tuple(
        Onset(hit.step, _quarters(hit.onset, ticks), _quarters(hit.length, ticks), hit.articulation)
        for hit in cut
    )


class _Span(NamedTuple):
    """A step and its place in ticks."""

    number: int
    onset: int
    end: int


class _Hit(NamedTuple):
    """An onset in ticks."""

    step: int
    onset: int
    length: int
    articulation: Articulation = ""


class _Stroke(NamedTuple):
    """A hit of a pattern, in ticks from the bar line; `ahead`: how far one that anticipates looks,
    else 0."""

    after: int
    length: int
    ahead: int
    mark: Articulation


def _ticks_a_quarter(bars: Sequence[Bar], plan: Sequence[BarHits]) -> int:
    """The fewest ticks in which all times are integers."""
    found = {item.end.denominator for bar in bars for item in bar.steps}
    found |= {item.onset.denominator for bar in bars for item in bar.steps}
    used = {id(hits[0]): hits[0] for hits in plan if hits}.values()
    hits = {time.denominator for own in used for hit in own for time in (hit.beat, hit.beats)}
    return lcm(*found, lcm(*hits) * lcm(*{bar.meter[1] for bar in bars}))


def in_ticks(time: Fraction, ticks: int) -> int:
    """A time as so many ticks of its unit, of which it is a multiple."""
    return time.numerator * (ticks // time.denominator)


@lru_cache(maxsize=4096)
def _quarters(time: int, ticks: int) -> Fraction:
    return Fraction(time, ticks)


def _span(placed: PlacedStep, ticks: int) -> _Span:
    return _Span(placed.number, in_ticks(placed.onset, ticks), in_ticks(placed.end, ticks))


def _strokes(
    bars: Sequence[Bar], plan: Sequence[BarHits], ticks: int
) -> Iterator[Sequence[_Stroke] | None]:
    """The strokes of each measure; None: chords are held."""
    known: dict[tuple[int, bool, int], list[_Stroke]] = {}
    for bar, hits in zip(bars, plan, strict=True):
        if hits is None:
            yield None
            continue
        key = id(hits[0]), hits[1], bar.meter[1]
        if key not in known:
            known[key] = _bar_strokes(*hits, 4 * ticks // bar.meter[1])
        yield known[key]


def _bar_strokes(strokes: tuple[PatternHit, ...], short: bool, beat: int) -> list[_Stroke]:
    mark: Articulation = "staccato" if short else "tenuto"
    return [
        _Stroke(int((hit.beat - 1) * beat), int(hit.beats * beat), hit.anticipate * beat, mark)
        for hit in strokes
    ]


def _struck(
    inside: Sequence[Sequence[_Span]],
    placed: Sequence[_Span],
    strokes: Iterable[Sequence[_Stroke] | None],
    loop: bool,
) -> Iterator[_Hit]:
    for here, own in zip(inside, strokes, strict=True):
        checkpoint()
        if own is None:
            yield from map(_held, here)
            continue
        for after, length, ahead, mark in own:
            at = here[0].onset + after
            yield _Hit(_sounded(placed, here, at, ahead, loop).number, at, length, mark)


def _held(placed: _Span) -> _Hit:
    return _Hit(placed.number, placed.onset, placed.end - placed.onset)


def _sounded(
    placed: Sequence[_Span], inside: Sequence[_Span], at: int, ahead: int, loop: bool
) -> _Span:
    """The step that a stroke sounds; `ahead` is how far one that anticipates looks."""
    here = next(p for p in reversed(inside) if p.onset <= at)
    if not ahead or here.onset == at or here.end > at + ahead:
        return here
    after = here.number + 1
    if after < len(placed):
        return placed[after]
    return placed[0] if loop else here


def _apart(found: Iterable[_Hit]) -> list[_Hit]:
    """The hits in order; of two at one time the later step's."""
    ordered = sorted(found, key=lambda hit: (hit.onset, -hit.step))
    return [hit for k, hit in enumerate(ordered) if k == 0 or hit.onset != ordered[k - 1].onset]


def _ended(found: Sequence[_Hit], placed: Sequence[_Span]) -> list[_Hit]:
    """The last chord is struck once, where it begins or is anticipated, and held to its end."""
    last = placed[max((hit.step for hit in found), default=0)]
    own = [hit for hit in found if hit.step == last.number]
    at = min([last.onset, *(hit.onset for hit in own)])
    kept = [hit for hit in found if hit.step != last.number]
    return [*kept, _Hit(last.number, at, last.end - at)] if own else kept


def _cut(found: Sequence[_Hit], placed: Sequence[_Span], ticks: int) -> Iterator[_Hit]:
    last = placed[-1].end if placed else 0
    for hit, after in pairwise([*found, _Hit(0, last, ticks)]):
        own = placed[hit.step]
        # an anticipation of the first step of a loop has its chord's end behind it
        ends = own.end if own.end > hit.onset else last
        end = min(hit.onset + hit.length, after.onset, ends)
        mark = _mark(hit.articulation, (end - hit.onset) / ticks, rests=end < after.onset)
        yield _Hit(hit.step, hit.onset, end - hit.onset, mark)


def _mark(given: Articulation, beats: float, *, rests: bool) -> Articulation:
    """The articulation of a hit of so many quarter notes as cut; `rests`: a rest follows."""
    if given != "tenuto":
        return given
    if beats <= 0.5:
        return "staccato"
    return "tenuto" if rests and beats < _LONG else ""


def swing_position(place: Fraction, swing: Fraction) -> Fraction:
    """Where a place within a quarter note, 0 to 1, sounds: the off-beat eighth comes later.

    >>> [str(swing_position(Fraction(n, 4), Fraction(2))) for n in range(4)]
    ['0', '1/3', '2/3', '5/6']
    """
    late = swing / (swing + 1)
    if place < HALF:
        return place * 2 * late
    return late + (place - HALF) * 2 * (1 - late)
