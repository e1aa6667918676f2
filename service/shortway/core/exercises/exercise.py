"""Exercises: a chart through the keys as one chart, and the one path through all of it.

Knows transposition, functions and the solver. Each key begins afresh, so that its chords are heard
as they are in every other key, whatever key comes before or after.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import gcd
from typing import Final, TypeVar

from shortway.core import charts
from shortway.core.charts import MAX_STEPS, Chart
from shortway.core.charts.model import KEY_EXPECTED, Measure, fit_meter, normalize_key
from shortway.core.errors import (
    BeatsError,
    ChartError,
    NoVoicing,
    SettingError,
    ShortwayError,
    TooLarge,
    WrongType,
    one_of,
)
from shortway.core.harmony.functions import main_key
from shortway.core.harmony.transposition import distance, is_minor, key_at, tonic, transpose, usual
from shortway.core.settings.setting import Setting
from shortway.core.solver.results import Path
from shortway.core.solver.solve import as_chart, solve
from shortway.core.theory.pitch import pitch_class

#: Most keys of a list of one's own.
MOST_KEYS: Final = 24


@dataclass(frozen=True, slots=True)
class KeyOrder:
    """A way through the twelve keys.

    Attributes
    ----------
    by : int
        Semitones up from each key to the next.
    between : int
        Semitones from the first key of a cycle to the first of the next cycle, where one does not
        pass through all twelve.
    about : str
    """

    by: int
    between: int
    about: str

    def semitones(self) -> Iterator[int]:
        """How far above the first key each of the twelve lies, 0 to 11."""
        cycles = gcd(self.by, 12)
        for cycle in range(cycles):
            for turn in range(12 // cycles):
                yield (cycle * self.between + turn * self.by) % 12


# Common practice, no source.
KEY_ORDERS: Final[Mapping[str, KeyOrder]] = {
    "fourths": KeyOrder(5, 0, "each key a fourth above the one before"),
    "fifths": KeyOrder(7, 0, "each key a fifth above the one before"),
    "half-steps-up": KeyOrder(1, 0, "each key a half step above the one before"),
    "half-steps-down": KeyOrder(11, 0, "each key a half step below the one before"),
    "whole-steps-up": KeyOrder(2, 1, "six keys by whole steps up, then the six a half step above"),
    "whole-steps-down": KeyOrder(
        10, 11, "six keys by whole steps down, then the six a half step below"
    ),
    "minor-thirds-up": KeyOrder(3, 1, "four keys by minor thirds up, then from a half step above"),
    "minor-thirds-down": KeyOrder(
        9, 11, "four keys by minor thirds down, then from a half step below"
    ),
}
_MEASURE: Final = re.compile(r"/chart/measures/(\d+)(/.*)")
_WAY_EXPECTED: Final = f"{one_of(list(KEY_ORDERS))}; or a list of 1 to {MOST_KEYS} keys"


@dataclass(frozen=True, slots=True)
class InKey:
    """Where the exercise is in one key.

    Attributes
    ----------
    key : str
    semitones : int
        From the chart's own key, -5 to 6: by so much a melody moves.
    measure, step, steps : int
        The first measure, from 1; the first step, from 0; how many steps.
    motion : int or None
        Semitones moved into its first chord: the join. None where all is N.C.
    """

    key: str
    semitones: int
    measure: int
    step: int
    steps: int
    motion: int | None


@dataclass(frozen=True, slots=True)
class Exercise:
    """A chart in all the keys of a way, and the path through them.

    Attributes
    ----------
    key : str
        The chart's own key.
    inferred : bool
        Whether it was read off the chords.
    way : str or tuple of str
    keys : tuple of InKey
        In the order in which they are played.
    chart : Chart
        All of it, written out.
    path : Path
        `solve(chart)`: the one path through all of it.
    """

    key: str
    inferred: bool
    way: str | tuple[str, ...]
    keys: tuple[InKey, ...]
    chart: Chart
    path: Path


def exercise(
    chart: Chart | str | Mapping[str, object],
    way: str | Sequence[str] = "fourths",
    setting: Mapping[str, object] | Setting | None = None,
    *,
    loop: bool = False,
    top_line: str = "free",
    start_from: Sequence[int] | None = None,
) -> Exercise:
    """A chart through the keys, as one path with the least motion, joins included.

    Parameters
    ----------
    chart : Chart, str or mapping
        Repeats and endings are written out in each key. Its own key is `Chart.key`, else the key
        that most of it is heard in.
    way : str or sequence of str
        One of `KEY_ORDERS`, or 1 to `MOST_KEYS` tonics in the order wanted; a key may come again.
    setting, loop, top_line, start_from
        As for `solve`; `loop` leads from the last key back to the first.

    Raises
    ------
    ShortwayError
        As `solve` does, with pointers into what was given.
    TooLarge
        If it would have more than `MAX_STEPS` steps.

    >>> found = exercise("| Dm7 | G7 | Cmaj7 | % |", ["C", "F"], {"hands": "left"})
    >>> found.key, found.inferred, [(one.key, one.step, one.motion) for one in found.keys]
    ('C', True, [('C', 0, 0), ('F', 4, 4)])
    """
    given = as_chart(chart)
    own, names = _keys(given, way)
    _check_size(given, len(names))
    try:
        copies = [transpose(given, own, name) for name in names]
        whole = _joined(copies)
    except ShortwayError as error:
        raise error.under("/chart") from None
    try:
        path = solve(whole, setting, loop=loop, top_line=top_line, start_from=start_from)
    except NoVoicing as error:
        raise _within(error, given, names) from None
    parts = tuple(_in_keys(given, own, names, path))
    told = way if isinstance(way, str) else tuple(names)
    return Exercise(own, given.key is None, told, parts, whole, path)


def _read_way(way: object) -> tuple[int | str, ...]:
    """The keys of a way: semitones above the first one, or names of the caller's.

    Raises
    ------
    WrongType, SettingError
        With pointers below ``/way``.
    """
    if isinstance(way, str):
        if way not in KEY_ORDERS:
            detail = f"no way through the keys is {way[:40]!r}"
            raise SettingError.at("/way", detail, expected=_WAY_EXPECTED)
        return tuple(KEY_ORDERS[way].semitones())
    if not isinstance(way, list | tuple):
        raise WrongType.at("/way", "a way is a word or a list of keys", expected=_WAY_EXPECTED)
    if not 1 <= len(way) <= MOST_KEYS:
        detail = f"a list of {len(way):,} keys"
        raise SettingError.at("/way", detail, expected=f"1 to {MOST_KEYS} keys")
    for index, name in enumerate(way):
        if not isinstance(name, str):
            raise WrongType.at(f"/way/{index}", "a key is a text", expected=KEY_EXPECTED)
        if normalize_key(name) is None:
            detail = f"{name[:40]!r} is no key"
            raise SettingError.at(f"/way/{index}", detail, expected=KEY_EXPECTED)
    return tuple(way)


def _keys(chart: Chart, way: object) -> tuple[str, list[str]]:
    """The chart's own key and those of the way, each as players name it."""
    asked = _read_way(way)
    own = chart.key or main_key(chart, charts.unroll(chart))
    if own is None:
        detail = "nothing says which key the chart is in"
        raise ChartError.at("/chart", detail, expected="a key, or a chord")
    first, minor = pitch_class(tonic(own)), is_minor(own)
    return own, [
        _of_mode(item, index, minor)
        if isinstance(item, str)
        else key_at(first + item, minor)
        if item
        else usual(own)
        for index, item in enumerate(asked)
    ]


def _of_mode(name: str, index: int, minor: bool) -> str:
    """A key of the caller's list in the mode of the chart; a tonic alone has none of its own."""
    key = normalize_key(name) or ""
    if is_minor(key) != minor and (is_minor(key) or "maj" in name):
        mode, other = ("minor", "major") if minor else ("major", "minor")
        detail = f"the chart is in {mode}, and {name[:40]} is {other}"
        raise SettingError.at(f"/way/{index}", detail, expected=f"{tonic(key)}{'m' * minor}")
    return usual(tonic(key) + "m" * minor)


def _check_size(chart: Chart, keys: int) -> None:
    steps = keys * sum(len(chart.measures[number - 1]) for number in chart.order)
    if steps > MAX_STEPS:
        detail = f"the exercise has {steps:,} chords to play; {MAX_STEPS:,} is the limit"
        expected = f"at most {MAX_STEPS // keys:,} steps in each of {keys} keys, repeats counted"
        raise TooLarge.at("/chart", detail, expected=expected)


# --- one chart ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Bar:
    """A measure as played, and where the given chart has it, from 1."""

    entries: Measure
    meter: tuple[int, int]
    key: str
    fresh: bool
    source: int


def _joined(copies: Sequence[Chart]) -> Chart:
    """The copies one after the other, each beginning afresh, repeats written out.

    Only its very first and last measure may be short; others are measures of their own meter.
    """
    bars = [bar for copy in copies for bar in _bars(copy)]
    bars[1:-1] = [_full(bar) for bar in bars[1:-1]]
    return replace(
        copies[0],
        measures=tuple(bar.entries for bar in bars),
        order=tuple(range(1, len(bars) + 1)),
        meter=bars[0].meter,
        key=bars[0].key,
        meters=_changes([bar.meter for bar in bars]),
        keys=_changes([bar.key for bar in bars]),
        fresh=tuple(number for number, bar in enumerate(bars, 1) if bar.fresh),
    )


def _bars(copy: Chart) -> Iterator[_Bar]:
    for place, number in enumerate(copy.order):
        fresh = place == 0 or number in copy.fresh
        key = copy.key_at(number) or ""
        yield _Bar(copy.measures[number - 1], copy.meter_at(number), key, fresh, number)


def _full(bar: _Bar) -> _Bar:
    """A short measure as one of its own meter."""
    beats, unit = bar.meter
    have = sum((entry.beats for entry in bar.entries), Fraction(0))
    if have == beats:
        return bar
    meter = fit_meter(have * 4 / unit, unit)
    if meter is None:
        detail = f"measure {bar.source} has {have} beats, which no meter has"
        expected = "full measures, or short ones of whole, half or quarter beats"
        raise BeatsError.at(f"/measures/{bar.source - 1}", detail, expected=expected)
    finer = Fraction(meter[1], unit)
    entries = tuple(replace(entry, beats=entry.beats * finer) for entry in bar.entries)
    return replace(bar, entries=entries, meter=meter)


T = TypeVar("T")


def _changes(values: Sequence[T]) -> tuple[tuple[int, T], ...]:
    """Where a value is another than before, by measures from 1."""
    pairs = enumerate(pairwise(values), 2)
    return tuple((number, after) for number, (before, after) in pairs if after != before)


# --- what is told -------------------------------------------------------------------------------


def _in_keys(chart: Chart, own: str, names: Sequence[str], path: Path) -> Iterator[InKey]:
    """Where each key begins, and the motion into it."""
    bars, steps = len(chart.order), len(path.steps) // len(names)
    for number, name in enumerate(names):
        first = number * steps
        moved = (step.motion for step in path.steps[first : first + steps])
        motion = next((motion for motion in moved if motion is not None), None)
        yield InKey(name, distance(own, name), 1 + number * bars, first, steps, motion)


def _within(error: NoVoicing, chart: Chart, names: Sequence[str]) -> NoVoicing:
    """A refusal of the whole as one of the chart that was given, in the key where it is met."""
    fault = error.faults[0]
    match = _MEASURE.match(fault.pointer)
    if match is None:
        return error
    key, bar = divmod(int(match[1]), len(chart.order))
    pointer = f"/chart/measures/{chart.order[bar] - 1}{match[2]}"
    detail = f"in {names[key]}, {fault.detail}"
    return NoVoicing(
        detail, replace(fault, pointer=pointer, detail=detail), excluded=error.excluded
    )
