"""Charts in both forms, text and JSON, as one frozen `Chart`, and its unrolled steps.

Knows both forms, the model and errors; not who plays. Pointers are relative to the chart;
positions count characters of the text or symbol.
"""

from __future__ import annotations

from collections.abc import Mapping

from shortway.core.charts.json_codec import chart_json, parse_json_chart
from shortway.core.charts.json_values import require_object
from shortway.core.charts.model import MAX_STEPS, Chart, Entry, Measure, Step, unroll
from shortway.core.charts.text_lexer import MEASURE_EACH
from shortway.core.charts.text_parser import parse_text_chart
from shortway.core.charts.text_writer import chart_text
from shortway.core.errors import SettingError, ShortwayError, WrongType, one_of

__all__ = [
    "MAX_STEPS",
    "MEASURE_EACH",
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
    """The chart that a text, ``{"text": …, "measure_each": …}`` or the JSON form writes.

    Raises
    ------
    ChartError, BeatsError, SymbolError, TooLarge
        As `parse_text_chart` and `parse_json_chart` do.
    UnknownField
        If another field stands beside a text.
    WrongType
        If `value` is neither a text nor a mapping.

    >>> parse_chart({"text": "| Dm7 | G7 |"}) == parse_chart("| Dm7 | G7 |")
    True
    """
    if isinstance(value, str):
        return parse_text_chart(value)
    if not isinstance(value, Mapping):
        raise WrongType.at("", "a chart must be an object", expected="an object")
    if "text" not in value:
        return parse_json_chart(value)
    require_object(value, ("text", "measure_each"), "", "a chart as text")
    text = value["text"]
    if not isinstance(text, str):
        raise WrongType.at("/text", "the chart's text must be a string", expected="a string")
    each = value.get("measure_each")
    if each is not None and each not in MEASURE_EACH:
        detail = "this is not what a measure can be"
        raise SettingError.at("/measure_each", detail, expected=one_of(MEASURE_EACH))
    try:
        return parse_text_chart(text, each)
    except ShortwayError as error:
        raise error.under("/text") from None
