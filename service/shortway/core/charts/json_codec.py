"""The JSON form of a chart: mapping -> Chart, and back.

Knows measures, entries and errors; neither the text form nor who plays. Pointers are relative to
the chart; positions count characters of a symbol.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from typing import TypeVar

from shortway.core.charts.headers import (
    KEY_EXPECTED,
    METER_EXPECTED,
    TITLE_EXPECTED,
    normalize_key,
    normalize_title,
    read_meter,
)
from shortway.core.charts.json_entries import (
    ENTRY_FIELDS,
    entry_json,
    entry_lengths,
    plain_entries,
    read_entry,
)
from shortway.core.charts.json_values import (
    read_measure_number,
    require_field,
    require_list,
    require_object,
)
from shortway.core.charts.model import (
    MAX_STEPS,
    Chart,
    Measure,
    Section,
    beats_error,
    chart_too_large,
    check_step_limit,
    empty_chart,
)
from shortway.core.charts.solfege import check_solfege
from shortway.core.errors import ChartError, Fault, SettingError, ShortwayError, WrongType

FIELDS = ("title", "key", "meter", "measures", "order", "meters", "keys", "fresh", "sections")

T = TypeVar("T")


def parse_json_chart(value: Mapping[str, object]) -> Chart:
    """The chart of a mapping in the JSON form.

    Parameters
    ----------
    value : mapping
        ``measures``, a list of measures that are lists of ``{"symbol", "beats"}``, with
        ``melody``, ``ceiling``, ``top`` and ``colours`` where wanted; ``meter`` (``"4/4"`` where
        missing), ``key``, ``title``, and ``order``, the measures as played by their numbers from 1
        (each once where missing); ``meters`` and ``keys``, lists of changes from a measure on;
        ``fresh``, the measures that begin afresh; ``sections``, a list of ``{"measure", "name"}``.
        Beats may be missing from all chords of a measure, which then share it equally; else each
        is taken as the nearest fraction with a denominator up to 96, and they fill the measure.
        Only the first and the last may be short.

    Raises
    ------
    UnknownField, WrongType, SettingError
        With the pointer to the faulty field.
    ChartError, BeatsError, SymbolError, TooLarge
        With the pointer to the faulty measure or symbol.
    """
    require_object(value, FIELDS, "", "a chart")
    meter = _heading(value, "meter", read_meter, METER_EXPECTED) or (4, 4)
    key = _heading(value, "key", normalize_key, KEY_EXPECTED)
    title = _heading(value, "title", normalize_title, TITLE_EXPECTED)
    given = require_list(require_field(value, "measures", ""), "/measures", "a list of measures")
    if not given:
        raise empty_chart().under("/measures")
    meters = _changes(value, "meter", read_meter, METER_EXPECTED, len(given))
    keys = _changes(value, "key", normalize_key, KEY_EXPECTED, len(given))
    fits = len(given) * [meter[0]]
    if meters:
        frame = Chart((), meter, meters=meters)
        fits = [frame.meter_at(number)[0] for number in range(1, len(given) + 1)]
    try:
        measures = tuple(_measures(given, fits))
    except ShortwayError:
        check_solfege(_symbols(given))
        raise
    order = _order(value["order"], len(measures)) if "order" in value else ()
    fresh = _fresh(value["fresh"], len(measures)) if "fresh" in value else ()
    named = _changes(
        value, "name", normalize_title, TITLE_EXPECTED, len(given), field="sections", least=1
    )
    sections = tuple([Section(*section) for section in named])
    if order:
        check_step_limit(measures, order)
    return Chart(measures, meter, key, title, order, meters, keys, fresh, sections)


def _heading(
    value: Mapping[str, object], name: str, read_: Callable[[str], T | None], expected: str
) -> T | None:
    if name not in value:
        return None
    text = value[name]
    if not isinstance(text, str):
        raise WrongType.at(f"/{name}", f"{name} must be text", expected=expected)
    if (found := read_(text)) is None:
        raise ChartError.at(f"/{name}", f"{text[:40]!r} is not a valid {name}", 0, expected)
    return found


def _changes(
    value: Mapping[str, object],
    name: str,
    read_: Callable[[str], T | None],
    expected: str,
    count: int,
    *,
    field: str = "",
    least: int = 2,
) -> tuple[tuple[int, T], ...]:
    """The changes of meter, key or section from the measure `least` on; `field` has them."""
    found: list[tuple[int, T]] = []
    field = field or f"{name}s"
    if field not in value:
        return ()
    many = f"a list of objects with measure and {name}"
    for index, item in enumerate(require_list(value[field], f"/{field}", many)):
        where = f"/{field}/{index}"
        change = require_object(item, ("measure", name), where, "a change")
        first = found[-1][0] + 1 if found else least
        number = require_field(change, "measure", where)
        at = read_measure_number(number, f"{where}/measure", count, f"{first} to {count}")
        if at < first:
            detail = f"a change in measure {at} is out of order"
            raise SettingError.at(f"{where}/measure", detail, expected=f"{first} to {count}")
        try:
            changed = _heading(change, name, read_, expected)
        except (ChartError, WrongType) as error:
            raise error.under(where) from None
        if changed is None:
            raise ChartError.at(
                f"{where}/{name}", f"the field {name!r} is required", expected=expected
            )
        found.append((at, changed))
    return tuple(found)


def _symbols(given: Sequence[object]) -> Iterator[tuple[str, str, None]]:
    """Every symbol with its pointer, as far as there are any."""
    for k, measure in enumerate(given):
        for i, entry in enumerate(measure if isinstance(measure, list) else ()):
            if isinstance(entry, Mapping) and isinstance(symbol := entry.get("symbol"), str):
                yield symbol, f"/measures/{k}/{i}/symbol", None


def _measures(given: Sequence[object], fits: Sequence[int]) -> list[Measure]:
    """The measures, with the beats that fit each."""
    measures: list[Measure] = []
    size, last, many = 0, len(given) - 1, "a list of chords with their beats"
    for index, (value, fit) in enumerate(zip(given, fits, strict=True)):
        entries = value if type(value) is list else require_list(value, f"/measures/{index}", many)
        if (size := size + len(entries)) > MAX_STEPS:
            raise chart_too_large(size).under("/measures")
        may_be_short = index == 0 or index == last
        plain = plain_entries(entries, fit, may_be_short)
        measures.append(plain or _measure(entries, index, fit, may_be_short))
    return measures


def _measure(given: Sequence[object], index: int, fit: int, may_be_short: bool) -> Measure:
    where = f"/measures/{index}"
    if not given:
        raise ChartError.at(where, f"measure {index + 1} is empty", expected="a chord, or N.C.")
    objects = [
        require_object(value, ENTRY_FIELDS, f"{where}/{i}", "a chord of a measure")
        for i, value in enumerate(given)
    ]
    shares = entry_lengths(objects, where, fit)
    have = sum(shares, Fraction(0))
    if have > fit or (have < fit and not may_be_short):
        expected = f"beats that add up to {fit}"
        raise beats_error(index + 1, have, fit, Fault(where, "", None, expected))
    return tuple(
        read_entry(value, length, f"{where}/{i}")
        for i, (value, length) in enumerate(zip(objects, shares, strict=True))
    )


def _order(value: object, count: int) -> tuple[int, ...]:
    expected = f"the numbers of measures, 1 to {count}, in playing order"
    given = require_list(value, "/order", expected)
    if not given:
        raise SettingError.at("/order", "the order is empty", expected=expected)
    if len(given) > MAX_STEPS:
        raise chart_too_large(len(given)).under("/order")
    return tuple(
        read_measure_number(item, f"/order/{i}", count, expected) for i, item in enumerate(given)
    )


def _fresh(value: object, count: int) -> tuple[int, ...]:
    expected = f"the numbers of measures that begin afresh, 1 to {count}, each once"
    given = require_list(value, "/fresh", expected)
    found: list[int] = []
    for index, item in enumerate(given):
        number = read_measure_number(item, f"/fresh/{index}", count, expected)
        if found and number <= found[-1]:
            detail = f"measure {number} is out of order"
            raise SettingError.at(f"/fresh/{index}", detail, expected=expected)
        found.append(number)
    return tuple(found)


def chart_json(chart: Chart) -> dict[str, object]:
    """`chart` in the JSON form, which reads back as the same chart.

    Title and key are there where the chart has them, ``order`` where not each measure is played
    once, ``meters`` and ``keys`` where they change, ``fresh`` where it begins afresh, ``sections``
    where it has them. Beats are whole numbers, else the nearest float.
    """
    headings = {
        "title": chart.title,
        "key": chart.key,
        "meter": f"{chart.meter[0]}/{chart.meter[1]}",
    }
    measures = [[entry_json(entry) for entry in measure] for measure in chart.measures]
    straight = chart.order == tuple(range(1, len(measures) + 1))
    return (
        {name: text for name, text in headings.items() if text}
        | {"measures": measures}
        | ({} if straight else {"order": list(chart.order)})
        | _changes_json(chart)
    )


def _changes_json(chart: Chart) -> dict[str, object]:
    meters = [{"measure": at, "meter": f"{beats}/{unit}"} for at, (beats, unit) in chart.meters]
    keys = [{"measure": at, "key": key} for at, key in chart.keys]
    sections = [section._asdict() for section in chart.sections]
    changes: dict[str, object] = {
        "meters": meters, "keys": keys, "fresh": list(chart.fresh), "sections": sections,
    }  # fmt: skip
    return {name: found for name, found in changes.items() if found}
