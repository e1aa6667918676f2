"""Folding played measures back into the written ones of a lead sheet.

Knows music alone. A hand's notes are cut at the bar lines; a measure that is played more than once
is written once if it is played alike each time. A tie crosses a bar line only where the two
measures always follow one another.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from shortway.core.charts import Chart
from shortway.core.rhythm.onsets import Articulation
from shortway.scores.notation.model import (
    STAVES,
    PlayedMeasure,
    Score,
    Sonority,
    place_measure,
    sounding_ranges,
)

#: What a hand plays in a measure, in ticks from its onset.
Inside = tuple[Sonority, ...]


def refold_repeats(music: Score) -> Score | None:
    """`music` with each measure of the chart once, in written order; None if passes differ.

    A measure that is never played is silent.
    """
    inside: dict[int, tuple[Inside, ...]] = {}
    cut = zip(*(_inside(music.bars, music.hand(staff)) for staff in STAVES), strict=True)
    seamless = _seamless(music.chart)
    for bar, hands in zip(music.bars, cut, strict=True):
        # ties into its first notes begin elsewhere
        here = hands if bar.source in seamless else tuple(
            tuple(s if s.begin else s._replace(held=frozenset()) for s in hand) for hand in hands
        )  # fmt: skip
        if inside.setdefault(bar.source, here) != here:
            return None
    bars = tuple(_bars(music))
    right, left = (
        tuple(
            span._replace(begin=bar.onset + span.begin, end=bar.onset + span.end)
            for bar in bars
            for span in inside.get(bar.source, ((), ()))[hand]
        )
        for hand in range(len(STAVES))
    )
    return replace(music, bars=bars, right=right, left=left, signs=())


def _inside(bars: Sequence[PlayedMeasure], spans: Sequence[Sonority]) -> Iterator[Inside]:
    """What a hand plays in each measure as played; notes cut by a bar line are tied over it."""
    for bar, window in zip(bars, sounding_ranges(bars, spans), strict=True):
        yield tuple(_clipped(spans[at], bar.onset, bar.end) for at in window)


def _clipped(span: Sonority, begin: int, end: int) -> Sonority:
    goes_on = span.begin < begin
    held = frozenset(note.note for note in span.notes) if goes_on else span.held
    mark: Articulation = "" if goes_on else span.articulation
    clipped = max(span.begin, begin) - begin, min(span.end, end) - begin
    return Sonority(*clipped, span.notes, held, articulation=mark)


def _seamless(chart: Chart) -> set[int]:
    """Measures that always follow the one written before them, which always leads to them."""
    first, last = chart.order[0], chart.order[-1]
    pairs = set(pairwise(chart.order))
    before, after = Counter(b for _, b in pairs), Counter(a for a, _ in pairs)
    return {
        number
        for last_number, number in pairs
        if last_number == number - 1 and before[number] == after[last_number] == 1
        and last_number != last and number != first
    }  # fmt: skip


def _bars(music: Score) -> Iterator[PlayedMeasure]:
    """The measures of the chart as written."""
    chart, first, onset = music.chart, music.bars[0], 0
    played = {bar.source: bar.key for bar in music.bars}
    for source in range(1, len(chart.measures) + 1):
        key = played.get(source) or chart.key_at(source) or first.key
        pickup = first.pickup and first.source == source
        number = source - (first.pickup and not pickup)
        bar = place_measure(chart, source, number, onset, key, music.ticks, pickup=pickup)
        yield bar
        onset = bar.end
