"""The text form of a chart: text -> Chart.

Knows measures, symbols and errors. Three passes: characters to marks (bar lines, words, line
ends), marks to bars, bars to measures in playing order. The grammar::

    chart  = header* music
    header = ("key" | "meter" | "title" | "measure_each") ":" value line-end
    music  = line of bars, line after line; a line's outer bar lines may be left out
    bar    = "%" | word+                      between bar lines
    word   = symbol | "/"                     blanks inside parentheses belong to the symbol
    line   = "|" | "||" | "|]" | "|:" | ":|" [ "x3" ] | ":|:" | any of these with "1." (an ending)

Words share their measure equally; where a ``/`` stands alone, each word is one beat. ``%`` is the
measure before. A repeat is played twice, or as its ``x3`` says, or once for each of its endings; an
ending may be for several times (``|1.,2.``). Every repeat sign needs its partner, repeats do not
nest, and the last ending needs no closing sign. The end of a line ends the measure. Before a
section's first bar line its name may stand in brackets. Where several symbols
have no bar lines, `measure_each` says what a measure is.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache

from shortway.core.charts.headers import (
    KEY_EXPECTED,
    METER_EXPECTED,
    TITLE_EXPECTED,
    normalize_key,
    normalize_title,
    read_meter,
)
from shortway.core.charts.model import (
    MAX_DENOMINATOR,
    MAX_STEPS,
    Chart,
    Entry,
    Measure,
    Place,
    Section,
    beats_error,
    chart_too_large,
    check_step_limit,
    empty_chart,
)
from shortway.core.charts.solfege import check_solfege
from shortway.core.charts.text_lexer import (
    MEASURE_EACH,
    LexedBar,
    Token,
    read_bars,
    text_error,
)
from shortway.core.charts.text_repeats import playing_order
from shortway.core.errors import BeatsError, Fault, ShortwayError, one_of
from shortway.core.symbols import parser as symbols


def read_measure_each(text: str) -> str | None:
    """`text` as one of `MEASURE_EACH`; None where it is none."""
    return text.strip() if text.strip() in MEASURE_EACH else None


_HEADERS = {
    "key": (normalize_key, KEY_EXPECTED),
    "meter": (read_meter, METER_EXPECTED),
    "title": (normalize_title, TITLE_EXPECTED),
    "measure_each": (read_measure_each, one_of(MEASURE_EACH)),
}
#: A header's name, which is not the root of a Harte label.
_HEADER = re.compile(r"[\s\ufeff]*(?![A-G]bb?:)([A-Za-z_]{2,20})[ \t]*:(?![|:])[ \t]*([^\r\n]*)")


def parse_text_chart(text: str, measure_each: str | None = None) -> Chart:
    """The chart that `text` writes.

    Parameters
    ----------
    text : str
    measure_each : str or None
        ``symbol`` or ``line``: what a measure is where symbols have no bar lines. A header of the
        text goes before it.

    Raises
    ------
    ChartError, BeatsError, MeasuresNeeded, SymbolError
        With the position in `text` and what was expected there.
    TooLarge
        If more than `MAX_STEPS` steps would be played.
    """
    headers, start = _headers(text)
    bars = read_bars(
        text, start, read_measure_each(headers.get("measure_each", "")) or measure_each
    )
    if not bars:
        raise empty_chart(len(text))
    meter = read_meter(headers.get("meter", "4/4")) or (4, 4)
    order = playing_order(bars)
    measures = read_measures(bars, order, meter[0])
    key, title = headers.get("key"), headers.get("title")
    named = [
        (number, normalize_title(bar.section)) for number, bar in enumerate(bars, 1) if bar.section
    ]
    return Chart(
        measures,
        meter,
        key and normalize_key(key),
        title and title.strip(),
        order,
        sections=tuple(Section(number, name) for number, name in named if name),
    )


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
            f"{match[1]!r} {what}",
            match.start(1),
            f"{one_of([f'{name}:' for name in _HEADERS])}, each once",
        )
    read, expected = _HEADERS[name]
    if read(match[2]) is None:
        raise text_error(f"{match[2][:40]!r} is not a valid {name}", match.start(2), expected)


# --- bar = "%" | word+ ------------------------------------------------------------------------


def read_measures(
    bars: Sequence[LexedBar], order: Sequence[int], beats: int, *, cells: bool = False
) -> tuple[Measure, ...]:
    """The measures of `bars`, each of `beats` beats.

    With `cells`, words share a measure equally although some of them are slashes.

    Raises
    ------
    ChartError, BeatsError, SymbolError, TooLarge
        As `parse_text_chart` does.
    """
    check_step_limit([bar.words for bar in bars], order)
    measures: list[Measure] = []
    size = 0
    try:
        for number, bar in enumerate(bars, 1):
            measures.append(_measure(bar.words, number, beats, measures, cells))
            if (size := size + len(measures[-1])) > MAX_STEPS:
                raise chart_too_large(size)
    except ShortwayError:
        check_solfege((word.text, "", word.position) for bar in bars for word in bar.words)
        raise
    check_step_limit(measures, order)
    return tuple(measures)


def _measure(
    words: Sequence[Token], number: int, beats: int, before: Sequence[Measure], cells: bool
) -> Measure:
    texts = [word.text for word in words]
    if "%" in texts:
        return _same_again(words, before)
    held = "/" in texts
    if held and not cells and len(words) != beats:
        expected = f"{beats} symbols and slashes, one for each beat"
        where = words[min(beats, len(words) - 1)].position
        raise beats_error(number, Fraction(len(words)), beats, Fault("", "", where, expected))
    each = _share(beats, len(words))
    if each.denominator > MAX_DENOMINATOR:
        raise BeatsError.at(
            "",
            f"measure {number} has {len(words)} symbols, too many to share its {beats} beats",
            words[0].position,
            f"shares of at least 1/{MAX_DENOMINATOR} beat",
        )
    return _held(words, each, before) if held else tuple(_entry(word, each) for word in words)


@lru_cache(maxsize=256)
def _share(beats: int, words: int) -> Fraction:
    return Fraction(beats, words)


def _same_again(words: Sequence[Token], before: Sequence[Measure]) -> Measure:
    sign = next(word for word in words if word.text == "%")
    where = sign.position
    if len(words) > 1:
        raise text_error("% must stand alone in its measure", where, "% alone between bar lines")
    if not before:
        raise text_error("no measure comes before %", where, "a symbol in the first measure")
    return tuple(replace(entry, place=_place(sign)) for entry in before[-1])


def _held(words: Sequence[Token], each: Fraction, before: Sequence[Measure]) -> Measure:
    """Words of equal length; a ``/`` at the start holds the last symbol of the measure before."""
    entries: list[Entry] = []
    for word in words:
        if word.text != "/":
            entries.append(_entry(word, each))
        elif entries:
            entries[-1] = replace(entries[-1], beats=entries[-1].beats + each)
        elif before:
            entries.append(replace(before[-1][-1], beats=each, place=_place(word)))
        else:
            raise text_error("no symbol comes before /", word.position, "a symbol first")
    return tuple(entries)


def _place(word: Token) -> Place:
    return Place(word.line, word.column, len(word.text))


def _entry(word: Token, beats: Fraction) -> Entry:
    chord = symbols.parse_at(word.text, word.position)
    return Entry(word.text, chord, beats, place=_place(word))
