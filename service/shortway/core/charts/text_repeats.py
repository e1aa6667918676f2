"""Repeats and endings of a text chart: bars with their signs -> bars in playing order.

Knows the signs at bar lines and errors; no symbol.
"""

from __future__ import annotations

from collections.abc import Sequence

from shortway.core.charts.model import MAX_STEPS, chart_too_large
from shortway.core.charts.text_lexer import LexedBar, text_error


def playing_order(bars: Sequence[LexedBar]) -> tuple[int, ...]:
    """The bars as played, numbers from 1.

    Raises
    ------
    ChartError
        If a sign has no partner or an ending is out of order.
    TooLarge
        If more bars would be played than a chart may have steps.
    """
    order: list[int] = []
    index = 0
    while index < len(bars):
        if bars[index].opens >= 0:
            played, index = _repeat(bars, index)
        else:
            _check_outside(bars[index])
            played, index = [index + 1], index + 1
        order += played
        if len(order) > MAX_STEPS:
            raise chart_too_large(len(order))
    return tuple(order)


def _check_outside(bar: LexedBar) -> None:
    if bar.ending:
        raise text_error("the ending is outside a repeat", bar.ending_at, "|: before the ending")
    if bar.closes >= 0:
        raise text_error("the repeat is not opened", bar.closes, "|: before its first measure")


def _repeat(bars: Sequence[LexedBar], start: int) -> tuple[list[int], int]:
    """What the repeat that opens at bar `start` plays, and the bar after it."""
    if bars[start].ending:
        raise text_error(
            "no measure comes before the ending", bars[start].ending_at, "a measure before |1."
        )
    body = _stretch(bars, start)
    last = bars[body.stop - 1]
    if last.closes >= 0:
        if last.times * len(body) > MAX_STEPS:
            raise chart_too_large(last.times * len(body))
        return last.times * [number + 1 for number in body], body.stop
    if body.stop == len(bars) or not bars[body.stop].ending:
        raise text_error("the repeat is not closed", bars[start].opens, ":| after its last measure")
    return _endings(bars, body)


def _stretch(bars: Sequence[LexedBar], start: int) -> range:
    """The bars from `start` to the next closing sign, or to before the next opening one."""
    for index in range(start, len(bars)):
        if index > start and (bars[index].opens >= 0 or bars[index].ending):
            return range(start, index)
        if bars[index].closes >= 0:
            return range(start, index + 1)
    return range(start, len(bars))


def _endings(bars: Sequence[LexedBar], body: range) -> tuple[list[int], int]:
    """A repeat with endings: its body once before each time that an ending is for."""
    played: list[int] = []
    index, times = body.stop, 0
    while index < len(bars) and bars[index].ending:
        ending = _stretch(bars, index)
        _check_ending(bars, ending, times)
        times += len(bars[index].ending)
        for _ in bars[index].ending:
            played += [number + 1 for number in (*body, *ending)]
        if len(played) > MAX_STEPS:
            raise chart_too_large(len(played))
        index = ending.stop
    if times < 2:
        raise text_error(
            "the second ending is missing", bars[body.stop].ending_at, "|2. after the :|"
        )
    return played, index


def _check_ending(bars: Sequence[LexedBar], ending: range, times: int) -> None:
    """Endings count from 1 without a gap; one that is played again closes its repeat."""
    first = bars[ending.start]
    if first.ending != tuple(range(times + 1, times + 1 + len(first.ending))):
        raise text_error(f"ending {times + 1}. is missing", first.ending_at, f"|{times + 1}.")
    after = bars[ending.stop : ending.stop + 1]
    if bars[ending.stop - 1].times_at >= 0:
        where = bars[ending.stop - 1].times_at
        raise text_error("endings say how often a repeat is played", where, "|3. instead of x3")
    leads_back = len(first.ending) > 1 or (after and after[0].ending)
    if leads_back and bars[ending.stop - 1].closes < 0:
        where = after[0].ending_at if after and after[0].ending else first.ending_at
        raise text_error(f"ending {times + 1}. does not close its repeat", where, ":| at its end")
