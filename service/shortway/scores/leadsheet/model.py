"""A chart and the lead sheet that it was read from.

Loads no XML library, so that text charts do not need one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING

from shortway.core.charts import Chart

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element


#: By measure, from 1: quarter notes from its start, and quarter notes a minute.
SheetTempi = Mapping[int, Sequence[tuple[Fraction, float]]]


@dataclass(frozen=True, slots=True, eq=False)
class LeadSheet:
    """A lead sheet: its root, ``score-partwise``, the id of the part with the melody, its title.

    `onsets` are those of the melody by measure, from 1, in quarter notes from its start.
    """

    tree: Element
    part: str
    title: str | None
    onsets: Mapping[int, Sequence[Fraction]] = field(default_factory=dict)
    tempi: SheetTempi = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ChartSource:
    """A chart, its lead sheet if it was read from one, and the tempo that its beats were told by.

    The tempo is in quarter notes a minute; None where the chart has beats of its own.
    """

    chart: Chart
    sheet: LeadSheet | None = None
    tempo: float | None = None
