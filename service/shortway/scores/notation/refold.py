"""Music as a lead sheet writes it: each measure once, where all its passes are alike.

Knows music alone. What a hand plays is cut at the bar lines; a measure that is played more than
once keeps its place if it is the same each time. A tie goes over a bar line only where the two
measures always follow one another.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from shortway.core.charts import Chart
from shortway.scores.notation.model import STAVES, PlayedMeasure, Score, Sonority, quarters_per_beat

#: What a hand plays in a measure, in quarter notes from its beginning.
Inside = tuple[Sonority, ...]


def refold_repeats(music: Score) -> Score | None:
    """`music` with each of the chart's measures once, in the order written; None: passes differ.

    A measure that is never played is silent.
    """
    inside: dict[int, tuple[Inside, Inside]] = {}
    cut = zip(*(_inside(music.bars, music.hand(staff)) for staff in STAVES), strict=True)
    seamless = _seamless(music.chart)
    for bar, hands in zip(music.bars, cut, strict=True):
        here = _of(hands, bar.source in seamless)
        if inside.setdefault(bar.source, here) != here:
            return None
    bars = tuple(_bars(music))
    right, left = (
        tuple(_placed(bars, [inside.get(bar.source, ((), ()))[hand] for bar in bars]))
        for hand in range(len(STAVES))
    )
    return replace(music, bars=bars, right=right, left=left, signs=())


def _of(hands: Sequence[Inside], is_seamless: bool) -> tuple[Inside, Inside]:
    """A measure's hands, without what is tied into it over a seam."""
    if is_seamless:
        return hands[0], hands[1]
    right, left = (
        tuple(replace(s, held=frozenset()) if not s.begin else s for s in hand) for hand in hands
    )
    return right, left


def _inside(bars: Sequence[PlayedMeasure], spans: Sequence[Sonority]) -> Iterator[Inside]:
    """What a hand plays in each measure as played; a span cut by a bar line is held over it."""
    first = 0
    for bar in bars:
        end = bar.onset + bar.length
        while first < len(spans) and spans[first].end <= bar.onset:
            first += 1
        found, at = [], first
        while at < len(spans) and spans[at].begin < end:
            found.append(_clipped(spans[at], bar.onset, end))
            at += 1
        yield tuple(found)


def _clipped(span: Sonority, begin: Fraction, end: Fraction) -> Sonority:
    goes_on = span.begin < begin
    held = frozenset(note.note for note in span.notes) if goes_on else span.held
    return Sonority(max(span.begin, begin) - begin, min(span.end, end) - begin, span.notes, held)


def _seamless(chart: Chart) -> set[int]:
    """Measures that always follow the one written before them, which leads nowhere else."""
    pairs = set(pairwise(chart.order))
    into = {after: {a for a, b in pairs if b == after} for _, after in pairs}
    out = {before: {b for a, b in pairs if a == before} for before, _ in pairs}
    last = chart.order[-1]
    return {
        number
        for number, before in into.items()
        if before == {number - 1} and out[number - 1] == {number} and number - 1 != last
        and number != chart.order[0]
    }  # fmt: skip


def _bars(music: Score) -> Iterator[PlayedMeasure]:
    """The chart's measures as written, one after the other."""
    first, onset = music.bars[0], Fraction(0)
    played = {bar.source: bar for bar in music.bars}
    for index, measure in enumerate(music.chart.measures):
        source = index + 1
        meter = music.chart.meter_at(source)
        length = sum((e.beats for e in measure), Fraction(0)) * quarters_per_beat(meter)
        key = played[source].key if source in played else music.chart.key_at(source) or first.key
        is_pickup = first.pickup and first.source == source
        yield PlayedMeasure(
            source, index + (not first.pickup), onset, length, meter, key, is_pickup
        )
        onset += length


def _placed(bars: Sequence[PlayedMeasure], inside: Sequence[Inside]) -> Iterator[Sonority]:
    for bar, spans in zip(bars, inside, strict=True):
        for span in spans:
            yield replace(span, begin=bar.onset + span.begin, end=bar.onset + span.end)
