"""Onsets: when the chords of a chart are struck, and how.

Knows charts and rhythms, no voicing and no format. Times are exact, in quarter notes from the
beginning of the first measure as played. Notation is straight; `swing_position` says when it
sounds.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import islice, pairwise
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
_LONG: Final = Fraction(3, 2)

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

    Raises TooLarge at ``/rhythm`` if there are more than `MAX_HITS`.
    """
    bars = played_bars(chart, steps)
    placed = [item for bar in bars for item in bar.steps]
    plan = bar_hits(bars, rhythm, melody=melody, last_chorus=last_chorus)
    found = list(islice(_struck(bars, placed, plan, loop), MAX_HITS + 1))
    if len(found) > MAX_HITS:
        detail = f"{len(bars):,} measures in this rhythm have more than {MAX_HITS:,} hits"
        raise TooLarge.at("/rhythm", detail, expected=f"at most {MAX_HITS:,} hits in all")
    heard = {hit.step for hit in found if hit.onset < placed[hit.step].end}
    found += [_held(p) for p in placed if p.number not in heard]
    found = _apart(hit for hit in found if steps[hit.step].chord.root is not None)
    return tuple(_cut(_ended(found, placed) if ending else found, placed))


def _struck(
    bars: Sequence[Bar], placed: Sequence[PlacedStep], plan: Iterable[BarHits], loop: bool
) -> Iterator[Onset]:
    for bar, hits in zip(bars, plan, strict=True):
        checkpoint()
        if hits is None:
            yield from map(_held, bar.steps)
            continue
        strokes, short = hits
        mark: Articulation = "staccato" if short else "tenuto"
        for after, length, ahead in _in_quarters(strokes, bar.meter[1]):
            at = bar.onset + after
            yield Onset(_sounded(placed, bar, at, ahead, loop).number, at, length, mark)


@lru_cache(maxsize=256)
def _in_quarters(
    strokes: tuple[PatternHit, ...], unit: int
) -> list[tuple[Fraction, Fraction, Fraction | None]]:
    """Onset after the bar line and length of each hit, and how far one that anticipates looks."""
    beat = Fraction(4, unit)
    return [
        ((hit.beat - 1) * beat, hit.beats * beat, beat if hit.anticipate else None)
        for hit in strokes
    ]


def _held(placed: PlacedStep) -> Onset:
    return Onset(placed.number, placed.onset, placed.end - placed.onset)


def _sounded(
    placed: Sequence[PlacedStep], bar: Bar, at: Fraction, ahead: Fraction | None, loop: bool
) -> PlacedStep:
    """The step that a stroke sounds; `ahead` is how far one that anticipates looks."""
    here = next(p for p in reversed(bar.steps) if p.onset <= at)
    if ahead is None or here.onset == at or here.end > at + ahead:
        return here
    after = here.number + 1
    if after < len(placed):
        return placed[after]
    return placed[0] if loop else here


def _apart(found: Iterable[Onset]) -> list[Onset]:
    """The hits in order; of two at one time the later step's."""
    ordered = sorted(found, key=lambda hit: (hit.onset, -hit.step))
    return [hit for k, hit in enumerate(ordered) if k == 0 or hit.onset != ordered[k - 1].onset]


def _ended(found: Sequence[Onset], placed: Sequence[PlacedStep]) -> list[Onset]:
    """The last chord is struck once, where it begins or is anticipated, and held to its end."""
    last = placed[max((hit.step for hit in found), default=0)]
    own = [hit for hit in found if hit.step == last.number]
    at = min([last.onset, *(hit.onset for hit in own)])
    kept = [hit for hit in found if hit.step != last.number]
    return [*kept, Onset(last.number, at, last.end - at)] if own else kept


def _cut(found: Sequence[Onset], placed: Sequence[PlacedStep]) -> Iterator[Onset]:
    last = placed[-1].end if placed else Fraction(0)
    for hit, after in pairwise([*found, Onset(0, last, Fraction(1))]):
        own = placed[hit.step]
        # an anticipation of the first step of a loop has its chord's end behind it
        ends = own.end if own.end > hit.onset else last
        end = min(hit.onset + hit.beats, after.onset, ends)
        yield _marked(hit._replace(beats=end - hit.onset), rests=end < after.onset)


def _marked(hit: Onset, *, rests: bool) -> Onset:
    """The hit with the articulation of its length as cut; `rests`: whether a rest follows."""
    if hit.articulation != "tenuto":
        return hit
    if hit.beats <= HALF:
        return hit._replace(articulation="staccato")
    return hit if rests and hit.beats < _LONG else hit._replace(articulation="")


def swing_position(place: Fraction, swing: Fraction) -> Fraction:
    """Where a place within a quarter note, 0 to 1, sounds: the off-beat eighth comes later.

    >>> [str(swing_position(Fraction(n, 4), Fraction(2))) for n in range(4)]
    ['0', '1/3', '2/3', '5/6']
    """
    late = swing / (swing + 1)
    if place < HALF:
        return place * 2 * late
    return late + (place - HALF) * 2 * (1 - late)
