"""The measures of a chart as played, each with its steps and its place in a phrase.

Knows charts, no pattern. Times are exact, in quarter notes from the beginning.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice
from typing import Final, NamedTuple

from shortway.core.charts import Chart, Step
from shortway.core.rhythm.patterns import Meter

#: Measures of a phrase, and of a stretch of a chart without named sections (common practice, no
#: source: forms of 12, 16 and 32 measures are made of them).
PHRASE: Final = 4
STRETCH: Final = 8


class PlacedStep(NamedTuple):
    """A step with its place in quarter notes."""

    number: int
    step: Step
    onset: Fraction
    end: Fraction


@dataclass(frozen=True, slots=True)
class Bar:
    """A measure as played."""

    #: The chart's measure, from 1.
    source: int
    steps: tuple[PlacedStep, ...]
    meter: Meter
    #: Whether it has all beats of its meter.
    full: bool
    #: The name of its section.
    section: str | None
    #: Measures since its section, or its stretch, began.
    place: int
    #: Whether another section or stretch follows.
    ends: bool

    @property
    def onset(self) -> Fraction:
        """Where it begins."""
        return self.steps[0].onset


def played_bars(chart: Chart, steps: Sequence[Step]) -> list[Bar]:
    """The measures in playback order.

    `steps`: those of `chart` in playback order, perhaps several times through it.
    """
    bars: list[Bar] = []
    inside = list(_measures(chart, steps))
    places = _places(chart, [source for source, _ in inside], bool(inside) and _short(inside[0][1]))
    for k, (source, here) in enumerate(inside):
        place, ends = places[k], k + 1 < len(places) and places[k + 1] == 0
        section = section_name(chart, source)
        meter = here[0].step.meter
        bars.append(Bar(source, here, meter, not _short(here), section, place, ends))
    return bars


def _measures(chart: Chart, steps: Sequence[Step]) -> Iterator[tuple[int, tuple[PlacedStep, ...]]]:
    placed = (PlacedStep(k, s, s.onset, s.onset + _quarters(s)) for k, s in enumerate(steps))
    for source in chart.order:
        yield source, tuple(islice(placed, len(chart.measures[source - 1])))


def _quarters(step: Step) -> Fraction:
    return step.beats if step.meter[1] == 4 else step.beats * 4 / step.meter[1]


def _short(steps: Sequence[PlacedStep]) -> bool:
    first, *rest = (placed.step.beats for placed in steps)
    return sum(rest, first) < steps[0].step.meter[0]


def _places(chart: Chart, sources: Sequence[int], pickup: bool) -> list[int]:
    """How many measures of its section, or stretch, each measure has before it.

    A section begins where its name stands and where a repeat leads back. A pickup comes before
    the first one.
    """
    begins = {section.measure for section in chart.sections}
    found: list[int] = []
    for k, source in enumerate(sources):
        new = k <= pickup or source in begins or source <= sources[k - 1]
        place = 0 if new else found[-1] + 1
        found.append(0 if place == STRETCH and not begins else place)
    return found


def section_name(chart: Chart, source: int) -> str | None:
    """The name of the section of measure `source`; None before the first."""
    at = bisect_right(chart.sections, source, key=lambda section: section.measure)
    return chart.sections[at - 1].name if at else None
