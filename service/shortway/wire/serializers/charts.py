"""Charts and their steps as JSON values."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Final

import orjson

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
    found: Json = orjson.loads(step_members(step) + b"}")
    return found


def step_members(step: Step) -> bytes:
    """The JSON of `step_json` without its last brace."""
    form, place = step.shared.fragment or _form(step), step.place
    where = _NO_PLACE if place is None else _PLACE % place
    return form % (step.number, step.measure, number(step.onset), step.repetition, where)


_PLACE: Final = b'"line":%d,"column":%d,"length":%d'
_NO_PLACE: Final = b'"line":null,"column":null,"length":null'


def _form(step: Step) -> bytes:
    """The JSON of what steps share with `step`, and blanks for the rest; it stays with them."""
    beats, unit = step.meter
    time = _inside({"beat": number(step.beat), "beats": number(step.beats)})
    symbol = _inside({"symbol": step.symbol}).replace(b"%", b"%%")
    more = constraint_json(step.melody, step.ceiling, step.top, step.colours)
    constraints = b"," + _inside(more) if more else b""
    step.shared.fragment = (
        b'{"step":%%d,"measure":%%d,%b,"onset":%%a,%b,"repetition":%%d,"meter":"%d/%d",%%b%b'
        % (time, symbol, beats, unit, constraints)
    )
    return step.shared.fragment


def _inside(value: Json) -> bytes:
    """The JSON of an object without the braces round it."""
    return orjson.dumps(value)[1:-1]


def reading_json(chart: Chart, steps: Iterable[Step], tempo: float | None = None) -> Json:
    """A chart as read, its steps in playing order, and the tempo that it was read at."""
    found = [step_json(step) for step in steps]
    return {"chart": chart_json(chart), "steps": found, "tempo": tempo}
