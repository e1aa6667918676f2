"""The characters of a text chart as bars: words with the signs at their bar lines.

Knows the limit on words and errors; neither what a symbol means nor how repeats are played. A mark
is a bar line, a word or a line end; a bar is what stands between bar lines.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from shortway.core.charts.model import MAX_STEPS, chart_too_large
from shortway.core.errors import ChartError

_MARK = re.compile(
    r"(?P<end>[\r\n][\s\ufeff]*+)"
    r"|(?P<blank>(?:[^\S\r\n]|\ufeff)++)"
    r"|(?P<bar>(?P<closes>:)?\|{1,2}\]?(?P<opens>:)?"
    r"(?:[ \t]*(?P<ending>\d{1,2}(?:(?:\.|\.?[,-])\d{1,2})*)\.)?)"
    # possessive: nothing follows that could call for a shorter one, and no way back is kept
    r"|(?P<word>(?:\([^()|\r\n]*\)|(?!:\|)[^\s|])++)"
)
_NUMBERS = re.compile(r"(\d+)(?:\.?-(\d+))?")


class Token(NamedTuple):
    """A bar line, a word or a line end, and where in the text it is."""

    kind: str
    text: str
    position: int
    closes: bool = False
    opens: bool = False
    ending: tuple[int, ...] = ()


class LexedBar(NamedTuple):
    """The words of a measure with the signs at its bar lines; positions, -1 where there is none."""

    words: tuple[Token, ...]
    opens: int = -1
    closes: int = -1
    ending: tuple[int, ...] = ()
    ending_at: int = -1


_PLAIN: Final = LexedBar(())
"""A bar without words and signs."""


def text_error(detail: str, position: int, expected: str) -> ChartError:
    """The error of a text chart at `position`."""
    return ChartError.at("", detail, position, expected)


# --- characters to marks ----------------------------------------------------------------------


def _marks(text: str, start: int) -> Iterator[Token]:
    """Bar lines, words and line ends from `start` on, as long as there are not too many words."""
    words = 0
    for match in _MARK.finditer(text, start):
        if match.start() != start:
            break
        start = match.end()
        words += match.lastgroup == "word"
        if words > MAX_STEPS:
            raise chart_too_large(words)
        if match.lastgroup != "blank":
            yield _mark(match)
    if start < len(text):
        raise text_error(f"unexpected {text[start]!r}", start, "a symbol or a bar line")


def _mark(match: re.Match[str]) -> Token:
    kind = match.lastgroup or ""
    if kind != "bar":
        return Token(kind, match[0], match.start())
    closes, opens = match["closes"] is not None, match["opens"] is not None
    ending = _ending(match["ending"], match.start("ending")) if match["ending"] else ()
    return Token("bar", match[0], match.start(), closes, opens, ending)


def _ending(text: str, position: int) -> tuple[int, ...]:
    """The times that an ending is for: ``1``, ``1.,2`` or ``1-3``."""
    numbers: list[int] = []
    for first, last in _NUMBERS.findall(text):
        numbers += range(int(first), int(last or first) + 1)
    if not numbers or numbers != sorted(set(numbers)):
        raise text_error(
            f"the numbers of ending {text}. are not ascending", position, "ascending, as 1.,2."
        )
    return tuple(numbers)


# --- marks to bars ----------------------------------------------------------------------------


def read_bars(text: str, start: int) -> list[LexedBar]:
    """Bars with their signs from `start` on; a line end is a bar line that may follow another.

    Raises
    ------
    ChartError
        If a measure is empty or a sign stands alone.
    TooLarge
        If there are more words than any chart has.
    """
    bars: list[LexedBar] = []
    words: list[Token] = []
    signs = _PLAIN
    line: Token | None = None
    for mark in _marks(text, start):
        if mark.kind == "word":
            words.append(mark)
            continue
        if words:
            bars.append(_worded(signs, words))
            words, signs = [], _PLAIN
        elif mark.kind == "bar" and line is not None:
            _check_not_empty(line, mark)
        line = mark if mark.kind == "bar" else None
        signs = _signed(bars, signs, mark)
    if words:
        bars.append(_worded(signs, words))
    elif signs.opens >= 0 or signs.ending:
        where = max(signs.opens, signs.ending_at)
        raise text_error("no measure follows the last sign", where, "at least one measure after it")
    return bars


def _worded(signs: LexedBar, words: Sequence[Token]) -> LexedBar:
    return LexedBar(tuple(words)) if signs is _PLAIN else signs._replace(words=tuple(words))


def _check_not_empty(line: Token, following: Token) -> None:
    """Two bar lines side by side make a measure, unless their signs make them one."""
    if not (line.closes or following.opens or following.ending):
        raise text_error(
            "the measure is empty", following.position, "a symbol, N.C., % or / before the |"
        )


def _signed(bars: list[LexedBar], signs: LexedBar, mark: Token) -> LexedBar:
    """`signs` with those of `mark`; a closing sign goes to the bar before it."""
    if mark.closes:
        if not bars or bars[-1].closes >= 0 or signs is not _PLAIN:
            raise text_error("the repeat is empty", mark.position, "measures before :|")
        bars[-1] = bars[-1]._replace(closes=mark.position)
    if mark.opens:
        if signs.opens >= 0 or signs.ending:
            raise text_error("the repeat is opened twice", mark.position, "measures after |:")
        signs = signs._replace(opens=mark.position)
    if mark.ending:
        if signs.ending:
            raise text_error("the ending is empty", mark.position, "measures after |1.")
        signs = signs._replace(ending=mark.ending, ending_at=mark.position)
    return signs
