"""Charts in both forms, text and JSON, as one frozen `Chart`, and its unrolled steps.

Knows both forms, the model and errors; not who plays. Pointers are relative to the chart;
positions count characters of the text or symbol.
"""

from __future__ import annotations

from collections.abc import Mapping

from shortway.core.charts.json_codec import chart_json, parse_json_chart
from shortway.core.charts.model import MAX_STEPS, Chart, Entry, Measure, Step, unroll
from shortway.core.charts.text_parser import parse_text_chart
from shortway.core.charts.text_writer import chart_text
from shortway.core.errors import WrongType

__all__ = [
    "MAX_STEPS",
    "Chart",
    "Entry",
    "Measure",
    "Step",
    "chart_json",
    "chart_text",
    "parse_chart",
    "parse_json_chart",
    "parse_text_chart",
    "unroll",
]  # fmt: skip


def parse_chart(value: object) -> Chart:
    """The chart that a text or a mapping in the JSON form writes.

    Raises
    ------
    ChartError, BeatsError, SymbolError, TooLarge
        As `parse_text_chart` and `parse_json_chart` do.
    WrongType
        If `value` is neither.
    """
    if isinstance(value, str):
        return parse_text_chart(value)
    if isinstance(value, Mapping):
        return parse_json_chart(value)
    raise WrongType.at("", "a chart must be text or an object", expected="a text or an object")
