"""Charts: the one door to both their forms.

Knows both forms, measures and errors; not who plays. A chart comes as a text or as a mapping; both
become the same frozen `Chart`, whose repeats and endings are unrolled into steps. Pointers are
relative to the chart; positions count characters of the text or symbol.
"""

from __future__ import annotations

from collections.abc import Mapping

from shortway.core.charts.json_codec import read_json, to_json
from shortway.core.charts.model import MAX_STEPS, Chart, Entry, Measure, Step, unroll
from shortway.core.charts.text_parser import read_text
from shortway.core.charts.text_writer import write_text
from shortway.core.errors import WrongType

__all__ = [
    "MAX_STEPS", "Chart", "Entry", "Measure", "Step",
    "parse_chart", "read_json", "read_text", "to_json", "unroll", "write_text",
]  # fmt: skip


def parse_chart(value: object) -> Chart:
    """The chart that a text or a mapping in the JSON form writes.

    Raises
    ------
    ChartError, BeatsError, SymbolError, TooLarge
        As `read_text` and `read_json` do.
    WrongType
        If `value` is neither.
    """
    if isinstance(value, str):
        return read_text(value)
    if isinstance(value, Mapping):
        return read_json(value)
    raise WrongType.at("", "a chart is a text or an object", expected="a text or an object")
