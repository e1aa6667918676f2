"""Charts: the one door to both their forms, and the JSON form itself.

Knows measures, the text form, symbols and errors; not who plays. A chart comes as a text or as a
mapping; both become the same frozen `Chart`, whose repeats and endings are unrolled into steps.
Pointers are relative to the chart; positions count characters of the text or symbol.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from typing import TypeVar

from shortway.core import symbols
from shortway.core.chart_text import read_text
from shortway.core.chart_writing import write_text
from shortway.core.errors import (
    ChartError,
    Fault,
    SettingError,
    SymbolError,
    UnknownField,
    WrongType,
    one_of,
)
from shortway.core.measures import (
    KEY_EXPECTED,
    MAX_DENOMINATOR,
    MAX_STEPS,
    METER_EXPECTED,
    TITLE_EXPECTED,
    Chart,
    Entry,
    Measure,
    Step,
    beats_error,
    check_size,
    no_measures,
    normal_key,
    normal_title,
    read_meter,
    too_large,
    unroll,
)

__all__ = [
    "MAX_STEPS", "Chart", "Entry", "Measure", "Step",
    "read", "read_json", "read_text", "to_json", "unroll", "write_text",
]  # fmt: skip

FIELDS = ("title", "key", "meter", "measures", "order")
ENTRY_FIELDS = ("symbol", "beats")

T = TypeVar("T")


def read(value: object) -> Chart:
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


def read_json(value: Mapping[str, object]) -> Chart:
    """The chart of a mapping in the JSON form.

    Parameters
    ----------
    value : mapping
        ``measures``, a list of measures that are lists of ``{"symbol", "beats"}``; ``meter``
        (``"4/4"`` where missing), ``key``, ``title``, and ``order``, the measures as played by
        their numbers from 1 (each once where missing). Beats may be missing from all chords of a
        measure, which then share it equally; else each is taken as the nearest fraction with a
        denominator up to 96, and they fill the measure. Only the first and the last may be short.

    Raises
    ------
    UnknownField, WrongType, SettingError
        With the pointer to the faulty field.
    ChartError, BeatsError, SymbolError, TooLarge
        With the pointer to the faulty measure or symbol.
    """
    _known(value, FIELDS, "")
    meter = _heading(value, "meter", read_meter, METER_EXPECTED) or (4, 4)
    key = _heading(value, "key", normal_key, KEY_EXPECTED)
    title = _heading(value, "title", normal_title, TITLE_EXPECTED)
    given = _list(_needed(value, "measures", ""), "/measures", "a list of measures")
    if not given:
        raise no_measures().under("/measures")
    measures = tuple(_measures(given, meter[0]))
    order = _order(value["order"], len(measures)) if "order" in value else ()
    chart = Chart(measures, meter, key, title, order)
    check_size(chart.measures, chart.order)
    return chart


def _heading(
    value: Mapping[str, object], name: str, read_: Callable[[str], T | None], expected: str
) -> T | None:
    if name not in value:
        return None
    text = value[name]
    if not isinstance(text, str):
        raise WrongType.at(f"/{name}", f"{name} is a text", expected=expected)
    if (found := read_(text)) is None:
        raise ChartError.at(f"/{name}", f"{text[:40]!r} is no {name}", 0, expected)
    return found


def _measures(given: Sequence[object], beats: int) -> list[Measure]:
    measures: list[Measure] = []
    size = 0
    for index, value in enumerate(given):
        entries = _list(value, f"/measures/{index}", "a list of chords with their beats")
        if (size := size + len(entries)) > MAX_STEPS:
            raise too_large(size).under("/measures")
        may_be_short = index in (0, len(given) - 1)
        measures.append(_measure(entries, index, beats, may_be_short))
    return measures


def _measure(given: Sequence[object], index: int, beats: int, may_be_short: bool) -> Measure:
    where = f"/measures/{index}"
    if not given:
        raise ChartError.at(where, f"measure {index + 1} is empty", expected="a chord, or N.C.")
    objects = [_object(value, f"{where}/{i}") for i, value in enumerate(given)]
    lengths = _lengths(objects, where, beats)
    have = sum(lengths, Fraction(0))
    if have > beats or (have < beats and not may_be_short):
        expected = f"beats that add up to {beats}"
        raise beats_error(index + 1, have, beats, Fault(where, "", None, expected))
    return tuple(
        _entry(value, length, f"{where}/{i}")
        for i, (value, length) in enumerate(zip(objects, lengths, strict=True))
    )


def _lengths(objects: Sequence[Mapping[str, object]], where: str, beats: int) -> list[Fraction]:
    """The beats of each chord; equal shares where no chord has any."""
    missing = [i for i, value in enumerate(objects) if "beats" not in value]
    if len(missing) == len(objects):
        return len(objects) * [Fraction(beats, len(objects))]
    if missing:
        pointer = f"{where}/{missing[0]}"
        detail = "beats are missing here and given beside it"
        raise ChartError.at(pointer, detail, expected="beats for every chord of a measure or none")
    return [_beats(value["beats"], f"{where}/{i}/beats") for i, value in enumerate(objects)]


def _beats(value: object, pointer: str) -> Fraction:
    expected = f"a number more than 0, to 1/{MAX_DENOMINATOR} beat"
    if isinstance(value, bool) or not isinstance(value, int | float | Fraction):
        raise WrongType.at(pointer, "beats are a number", expected=expected)
    if isinstance(value, float) and not math.isfinite(value):
        raise SettingError.at(pointer, f"{value} beats cannot be", expected=expected)
    beats = Fraction(value).limit_denominator(MAX_DENOMINATOR)
    if beats <= 0:
        raise SettingError.at(pointer, "a chord lasts longer than no time", expected=expected)
    return beats


def _entry(value: Mapping[str, object], beats: Fraction, where: str) -> Entry:
    symbol = _needed(value, "symbol", where)
    if not isinstance(symbol, str):
        raise WrongType.at(f"{where}/symbol", "a symbol is a text", expected="a chord symbol")
    try:
        return Entry(symbol, symbols.parse(symbol), beats)
    except SymbolError as error:
        raise error.under(f"{where}/symbol") from None


def _order(value: object, count: int) -> tuple[int, ...]:
    expected = f"the numbers of measures, 1 to {count}, in playing order"
    given = _list(value, "/order", expected)
    if not given:
        raise SettingError.at("/order", "an order that plays nothing", expected=expected)
    if len(given) > MAX_STEPS:
        raise too_large(len(given)).under("/order")
    return tuple(_number(item, f"/order/{i}", count, expected) for i, item in enumerate(given))


def _number(value: object, pointer: str, count: int, expected: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise WrongType.at(pointer, "a measure's number is a whole number", expected=expected)
    if not 1 <= value <= count:
        raise SettingError.at(pointer, "no measure has this number", expected=expected)
    return value


def _needed(value: Mapping[str, object], name: str, where: str) -> object:
    if name not in value:
        raise ChartError.at(f"{where}/{name}", f"no {name} here", expected=f"a field {name!r}")
    return value[name]


def _list(value: object, pointer: str, expected: str) -> Sequence[object]:
    if not isinstance(value, list | tuple):
        raise WrongType.at(pointer, f"expected {expected}", expected=expected)
    return value


def _object(value: object, pointer: str) -> Mapping[str, object]:
    if not isinstance(value, Mapping):
        raise WrongType.at(pointer, "a chord of a measure is an object", expected="an object")
    return _known(value, ENTRY_FIELDS, pointer)


def _known(value: Mapping[str, object], fields: Sequence[str], where: str) -> Mapping[str, object]:
    for name in value:
        if name not in fields:
            pointer = f"{where}/{_escaped(str(name))}"
            raise UnknownField.at(pointer, "no such field", expected=one_of(fields))
    return value


def _escaped(name: str) -> str:
    """`name` as a token of a JSON pointer (RFC 6901)."""
    return name.replace("~", "~0").replace("/", "~1")


def to_json(chart: Chart) -> dict[str, object]:
    """`chart` in the JSON form, which reads back as the same chart.

    Title and key are there where the chart has them, ``order`` where not each measure is played
    once. Beats are whole numbers, else the nearest float.
    """
    headings = {
        "title": chart.title,
        "key": chart.key,
        "meter": f"{chart.meter[0]}/{chart.meter[1]}",
    }
    measures = [[_entry_json(entry) for entry in measure] for measure in chart.measures]
    straight = chart.order == tuple(range(1, len(measures) + 1))
    return (
        {name: text for name, text in headings.items() if text}
        | {"measures": measures}
        | ({} if straight else {"order": list(chart.order)})
    )


def _entry_json(entry: Entry) -> dict[str, object]:
    whole = entry.beats.denominator == 1
    return {"symbol": entry.symbol, "beats": int(entry.beats) if whole else float(entry.beats)}
