"""The text form of a chart: Chart -> text.

Knows measures, errors and the reader, with which it checks itself. Repeats and endings are found
from the jumps of the playing order.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from shortway.core.charts.model import Chart, Measure
from shortway.core.charts.text_parser import parse_text_chart
from shortway.core.errors import ChartError, SymbolError, one_of


def chart_text(chart: Chart) -> str:
    """`chart` as a text that reads back as the same chart, four measures to a line.

    Each section begins a line.

    Raises
    ------
    ChartError
        If only the JSON form can say it: uneven beats that are not whole, a short measure, or an
        order that repeats and endings do not make.
    """
    meter = f"{chart.meter[0]}/{chart.meter[1]}"
    heads = {"title": chart.title, "key": chart.key, "meter": meter}
    head = "".join(f"{name}: {value}\n" for name, value in heads.items() if value)
    text = head + _music(chart)
    if _read_back(text) != chart:
        raise ChartError("the text form cannot express this chart's playing order or symbols")
    return text


def _read_back(text: str) -> Chart | None:
    try:
        return parse_text_chart(text)
    except (ChartError, SymbolError):
        return None


def _music(chart: Chart) -> str:
    """The measures with the repeat signs that the jumps of the playing order call for."""
    opens, closes, endings = _signs(chart.order)
    times = {number: f" x{jumps + 1} " for number, jumps in closes.items() if jumps > 1}
    sections = dict(chart.sections)
    parts: list[str] = []
    begin = 1
    for number, measure in enumerate(chart.measures, 1):
        closing = times.get(number - 1, "")
        line = ":" if number - 1 in closes else ""
        if section := sections.get(number):
            line += (f"|{closing}\n" if number > 1 else "") + f"[{section}] |"
            begin = number
        else:
            line += f"|{closing}|" if closing else "|"
        line += ":" if number in opens else ""
        ending = f"{endings[number]}." if number in endings else ""
        new_line = "\n" if (number - begin) % 4 == 0 and number > begin else ""
        same = number > 1 and measure == chart.measures[number - 2]
        words = "%" if same else _words(measure, number, chart.meter_at(number)[0])
        parts.append(f"{line}{new_line}{'|' if new_line and ending else ''}{ending} {words} ")
    last = len(chart.measures)
    return "".join(parts) + (":|" + times.get(last, "") if last in closes else "|").rstrip() + "\n"


def _signs(order: Sequence[int]) -> tuple[set[int], dict[int, int], dict[int, int]]:
    """Measures that open a repeat, that close one (and how often), that begin an ending (which)."""
    opens: set[int] = set()
    closes: dict[int, int] = {}
    endings: dict[int, int] = {}
    for here, there in pairwise(order):
        if there <= here:
            opens.add(there)
            closes[here] = closes.get(here, 0) + 1
        elif there > here + 1:
            endings.setdefault(here + 1, 1)
            endings[there] = 1 + sum(here < start < there for start in endings)
    return opens, closes, endings


def _words(measure: Measure, number: int, beats: int) -> str:
    if all(entry.beats == Fraction(beats, len(measure)) for entry in measure):
        return " ".join(entry.symbol for entry in measure)
    if any(entry.beats.denominator > 1 for entry in measure):
        needs = one_of(["equal shares", "whole beats"])
        raise ChartError.at(f"/measures/{number - 1}", "needs the JSON form", expected=needs)
    return " ".join(entry.symbol + " /" * (int(entry.beats) - 1) for entry in measure)
