"""Copies: a chart in several keys, written out one after the other as one chart.

Knows charts. Each copy begins afresh, so that its chords are heard as they are in every other key,
whatever key comes before or after.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import TypeVar

from shortway.core.charts import Chart
from shortway.core.charts.headers import fit_meter
from shortway.core.charts.model import Measure, Section
from shortway.core.errors import BeatsError

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class _PlayedMeasure:
    """A measure as played, and where the given chart has it, from 1."""

    entries: Measure
    meter: tuple[int, int]
    key: str
    fresh: bool
    source: int
    section: str


def join_copies(copies: Sequence[Chart]) -> Chart:
    """The copies one after the other, each beginning afresh, repeats written out.

    A section named by its key begins with each.

    Only the very first and last measure may be short; others are measures of their own meter.

    Raises
    ------
    BeatsError
        If a short measure has a length that no meter has; the pointer is relative to the chart.
    """
    bars = [bar for copy in copies for bar in _played(copy)]
    bars[1:-1] = [_full(bar) for bar in bars[1:-1]]
    return replace(
        copies[0],
        measures=tuple(bar.entries for bar in bars),
        order=tuple(range(1, len(bars) + 1)),
        meter=bars[0].meter,
        key=bars[0].key,
        meters=_changes([bar.meter for bar in bars]),
        keys=_changes([bar.key for bar in bars]),
        fresh=tuple(number for number, bar in enumerate(bars, 1) if bar.fresh),
        sections=tuple(Section(k, bar.section) for k, bar in enumerate(bars, 1) if bar.section),
    )


def _played(copy: Chart) -> Iterator[_PlayedMeasure]:
    sections = dict(copy.sections)
    for place, number in enumerate(copy.order):
        fresh = place == 0 or number in copy.fresh
        key = copy.key_at(number) or ""
        section = key if place == 0 else sections.get(number, "")
        measure, meter = copy.measures[number - 1], copy.meter_at(number)
        yield _PlayedMeasure(measure, meter, key, fresh, number, section)


def _full(bar: _PlayedMeasure) -> _PlayedMeasure:
    """A short measure as one of its own meter."""
    beats, unit = bar.meter
    have = sum((entry.beats for entry in bar.entries), Fraction(0))
    if have == beats:
        return bar
    meter = fit_meter(have * 4 / unit, unit)
    if meter is None:
        detail = f"measure {bar.source} has {have} beats, which no meter has"
        expected = "full measures, or short ones of whole, half or quarter beats"
        raise BeatsError.at(f"/measures/{bar.source - 1}", detail, expected=expected)
    finer = Fraction(meter[1], unit)
    entries = tuple(replace(entry, beats=entry.beats * finer) for entry in bar.entries)
    return replace(bar, entries=entries, meter=meter)


def _changes(values: Sequence[T]) -> tuple[tuple[int, T], ...]:
    """Where a value is another than before, by measures from 1."""
    pairs = enumerate(pairwise(values), 2)
    return tuple((number, after) for number, (before, after) in pairs if after != before)
