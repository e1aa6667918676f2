"""A chart that was read, and the lead sheet that it was read from, as values.

Knows the core's charts; no XML is loaded for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from shortway.core.charts import Chart

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element


@dataclass(frozen=True, slots=True)
class WrittenMeasure:
    """A measure of a sheet: its index in every part, from 0, and its number as printed."""

    index: int
    number: str


@dataclass(frozen=True, slots=True, eq=False)
class LeadSheet:
    """The lead sheet that a chart was read from.

    Attributes
    ----------
    tree : Element
        The root, ``score-partwise``, with all that the sheet has.
    measures : tuple of Written
        Of each measure of the chart the sheet's.
    part : str
        The id of the part whose notes are the melody.
    title : str or None
    """

    tree: Element
    measures: tuple[WrittenMeasure, ...]
    part: str
    title: str | None


@dataclass(frozen=True, slots=True)
class ChartSource:
    """A chart, and the lead sheet where it was read from one."""

    chart: Chart
    sheet: LeadSheet | None = None
