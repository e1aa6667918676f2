"""Charts and their steps as JSON values."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Final

from shortway.core import charts
from shortway.core.charts import Chart, Step
from shortway.core.charts.json_entries import constraint_json
from shortway.wire.serializers import Json


def number(value: Fraction) -> int | float:
    """A number of beats: whole where it is whole, else the nearest float.

    >>> number(Fraction(4)), number(Fraction(3, 2))
    (4, 1.5)
    """
    over, under = value.as_integer_ratio()
    return over if under == 1 else over / under


def chart_json(chart: Chart) -> Json:
    """A chart in the JSON form that the service also reads."""
    return charts.chart_json(chart)


def brief_step_json(step: Step) -> Json:
    """What a step is and when."""
    return {
        "measure": step.measure,
        "beat": number(step.beat),
        "beats": number(step.beats),
        "onset": number(step.onset),
        "symbol": step.symbol,
    }


def step_json(step: Step) -> Json:
    """One chord occurrence of an unrolled chart; the step from 0, measure and beat from 1.

    Melody, ceiling, top and colours are there where the chart has them.
    """
    line, column, length = step.place or _NO_PLACE
    beats, unit = step.meter
    found: Json = {
        "step": step.number,
        "measure": step.measure,
        "beat": number(step.beat),
        "beats": number(step.beats),
        "onset": number(step.onset),
        "symbol": step.symbol,
        "repetition": step.repetition,
        "meter": f"{beats}/{unit}",
        "line": line,
        "column": column,
        "length": length,
    }
    if step.constrained or step.colours is not None:
        found |= constraint_json(step.melody, step.ceiling, step.top, step.colours)
    return found


_NO_PLACE: Final = (None, None, None)


def reading_json(chart: Chart, steps: Iterable[Step], tempo: float | None = None) -> Json:
    """A chart as read, its steps in playing order, and the tempo that it was read at."""
    found = [step_json(step) for step in steps]
    return {"chart": chart_json(chart), "steps": found, "tempo": tempo}
