"""The text form of a chart: text -> Chart.

Knows measures, symbols and errors. Three passes: characters to marks (bar lines, words, line
ends), marks to bars, bars to measures in playing order. The grammar::

    chart  = header* music
    header = ("key" | "meter" | "title") ":" value line-end
    music  = line of bars, line after line; a line's outer bar lines may be left out
    bar    = "%" | word+                      between bar lines
    word   = symbol | "/"                     blanks inside parentheses belong to the symbol
    line   = "|" | "||" | "|]" | "|:" | ":|" | ":|:" | any of these with "1." "2." (an ending)

Words share their measure equally; where a ``/`` stands alone, each word is one beat. ``%`` is the
measure before. A repeat is played twice, or once for each of its endings; an ending may be for
several times (``|1.,2.``). Every repeat sign needs its partner, repeats do not nest, and the last
ending needs no closing sign. The end of a line ends the measure.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache

from shortway.core.charts.model import (
    KEY_EXPECTED,
    MAX_DENOMINATOR,
    MAX_STEPS,
    METER_EXPECTED,
    TITLE_EXPECTED,
    Chart,
    Entry,
    Measure,
    beats_error,
    chart_too_large,
    check_step_limit,
    empty_chart,
    normalize_key,
    normalize_title,
    read_meter,
)
from shortway.core.charts.text_lexer import LexedBar, Token, read_bars, text_error
from shortway.core.errors import BeatsError, Fault, SymbolError
from shortway.core.symbols import parser as symbols

_HEADERS = {
    "key": (normalize_key, KEY_EXPECTED),
    "meter": (read_meter, METER_EXPECTED),
    "title": (normalize_title, TITLE_EXPECTED),
}
_HEADER = re.compile(r"[\s\ufeff]*([A-Za-z]{2,20})[ \t]*:(?![|:])[ \t]*([^\r\n]*)")


def parse_text_chart(text: str) -> Chart:
    """The chart that `text` writes.

    Raises
    ------
    ChartError, BeatsError, SymbolError
        With the position in `text` and what was expected there.
    TooLarge
        If more than `MAX_STEPS` steps would be played.
    """
    headers, start = _headers(text)
    bars = read_bars(text, start)
    if not bars:
        raise empty_chart(len(text))
    meter = read_meter(headers.get("meter", "4/4")) or (4, 4)
    order = _order(bars)
    check_step_limit([bar.words for bar in bars], order)
    measures = _measures(bars, meter[0])
    check_step_limit(measures, order)
    key, title = headers.get("key"), headers.get("title")
    return Chart(measures, meter, key and normalize_key(key), title and title.strip(), order)


# --- header = ("key" | "meter" | "title") ":" value line-end ----------------------------------


def _headers(text: str) -> tuple[dict[str, str], int]:
    """The header lines and where the music begins."""
    found: dict[str, str] = {}
    start = 0
    while match := _HEADER.match(text, start):
        name = match[1].lower()
        _check_header(name, match, found)
        found[name] = match[2]
        start = match.end()
    return found, start


def _check_header(name: str, match: re.Match[str], found: dict[str, str]) -> None:
    if name not in _HEADERS or name in found:
        what = "is given twice" if name in found else "is not a header of a chart"
        raise text_error(
            f"{match[1]!r} {what}", match.start(1), "key:, meter: or title:, each once"
        )
    read, expected = _HEADERS[name]
    if read(match[2]) is None:
        raise text_error(f"{match[2][:40]!r} is not a valid {name}", match.start(2), expected)


# --- repeats and endings ----------------------------------------------------------------------


def _order(bars: Sequence[LexedBar]) -> tuple[int, ...]:
    """The bars as played, numbers from 1."""
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
    if bars[body.stop - 1].closes >= 0:
        return 2 * [number + 1 for number in body], body.stop
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
    leads_back = len(first.ending) > 1 or (after and after[0].ending)
    if leads_back and bars[ending.stop - 1].closes < 0:
        where = after[0].ending_at if after and after[0].ending else first.ending_at
        raise text_error(f"ending {times + 1}. does not close its repeat", where, ":| at its end")


# --- bar = "%" | word+ ------------------------------------------------------------------------


def _measures(bars: Sequence[LexedBar], beats: int) -> tuple[Measure, ...]:
    measures: list[Measure] = []
    size = 0
    for number, bar in enumerate(bars, 1):
        measures.append(_measure(bar.words, number, beats, measures))
        if (size := size + len(measures[-1])) > MAX_STEPS:
            raise chart_too_large(size)
    return tuple(measures)


def _measure(words: Sequence[Token], number: int, beats: int, before: Sequence[Measure]) -> Measure:
    if any(word.text == "%" for word in words):
        return _same_again(words, before)
    if any(word.text == "/" for word in words):
        return _beat_by_beat(words, number, beats, before)
    each = _share(beats, len(words))
    if each.denominator > MAX_DENOMINATOR:
        raise BeatsError.at(
            "",
            f"measure {number} has {len(words)} symbols, too many to share its {beats} beats",
            words[0].position,
            f"shares of at least 1/{MAX_DENOMINATOR} beat",
        )
    return tuple(_entry(word, each) for word in words)


@lru_cache(maxsize=256)
def _share(beats: int, words: int) -> Fraction:
    return Fraction(beats, words)


def _same_again(words: Sequence[Token], before: Sequence[Measure]) -> Measure:
    where = next(word.position for word in words if word.text == "%")
    if len(words) > 1:
        raise text_error("% must stand alone in its measure", where, "% alone between bar lines")
    if not before:
        raise text_error("no measure comes before %", where, "a symbol in the first measure")
    return before[-1]


def _beat_by_beat(
    words: Sequence[Token], number: int, beats: int, before: Sequence[Measure]
) -> Measure:
    """Each word is a beat; a ``/`` at the start holds the last symbol of the measure before."""
    if len(words) != beats:
        expected = f"{beats} symbols and slashes, one for each beat"
        where = words[min(beats, len(words) - 1)].position
        raise beats_error(number, Fraction(len(words)), beats, Fault("", "", where, expected))
    entries: list[Entry] = []
    for word in words:
        if word.text != "/":
            entries.append(_entry(word, Fraction(1)))
        elif entries:
            entries[-1] = replace(entries[-1], beats=entries[-1].beats + 1)
        elif before:
            entries.append(replace(before[-1][-1], beats=Fraction(1)))
        else:
            raise text_error("no symbol comes before /", word.position, "a symbol first")
    return tuple(entries)


def _entry(word: Token, beats: Fraction) -> Entry:
    try:
        return Entry(word.text, symbols.parse(word.text), beats)
    except SymbolError as error:
        faults = [replace(f, position=word.position + (f.position or 0)) for f in error.faults]
        raise SymbolError(error.detail, *faults) from None
