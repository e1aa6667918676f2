"""The characters of a text chart as bars: words with the signs at their bar lines.

Knows the limit on words and errors; neither what a symbol means nor how repeats are played. A mark
is a bar line, a word, a line end, an ``x3`` or a section's name; a bar is what stands between bar
lines.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final, NamedTuple

from shortway.core.charts.model import MAX_STEPS, chart_too_large
from shortway.core.errors import ChartError, MeasuresNeeded

_MARK = re.compile(
    r"(?P<end>[\r\n][\s\ufeff]*+)"
    r"|(?P<blank>(?:[^\S\r\n]|\ufeff)++)"
    r"|(?P<bar>(?P<closes>:)?\|{1,2}\]?(?P<opens>:)?"
    r"(?:[ \t]*(?P<ending>\d{1,2}(?:(?:\.|\.?[,-])\d{1,2})*)\.)?)"
    r"|(?P<times>\(?(?:[xX×]\d{1,2}|\d{1,2}[xX×])\)?(?![^\s|]))"
    r"|(?P<section>\[[^\[\]|\r\n]*+\](?::(?!\|))?)"
    # possessive: nothing follows that could call for a shorter one, and no way back is kept
    r"|(?P<word>(?:\([^()|\r\n]*\)|(?!:\|)[^\s|])++)"
)
_NUMBERS = re.compile(r"(\d+)(?:\.?-(\d+))?")
_LINE_BREAK = re.compile(r"\r\n|\r|\n")
_TIMES = re.compile(r"\d+")
#: What `measure_each` may be: each symbol is a measure, or each line, where it has no bar lines.
MEASURE_EACH: Final = ("symbol", "line")


class Token(NamedTuple):
    """A bar line, word, line end, ``x3`` or section's name, and where in the text it is.

    Line and column count from 1.
    """

    kind: str
    text: str
    position: int
    line: int
    column: int
    closes: bool = False
    opens: bool = False
    ending: tuple[int, ...] = ()


class LexedBar(NamedTuple):
    """The words of a measure with the signs at its bar lines; positions, -1 where there is none.

    `times` is how often the repeat that it closes is played; `section` is the name of the section
    that it begins.
    """

    words: tuple[Token, ...]
    opens: int = -1
    closes: int = -1
    ending: tuple[int, ...] = ()
    ending_at: int = -1
    times: int = 2
    times_at: int = -1
    section: str = ""


_PLAIN: Final = LexedBar(())
"""A bar without words and signs."""


def text_error(detail: str, position: int, expected: str) -> ChartError:
    """The error of a text chart at `position`."""
    return ChartError.at("", detail, position, expected)


# --- characters to marks ----------------------------------------------------------------------


def _marks(text: str, start: int) -> Iterator[Token]:
    """All marks from `start` on, as long as there are not too many words and sections."""
    words = 0
    line, line_start = line_of(text, start)
    for match in _MARK.finditer(text, start):
        kind, (begin, end) = match.lastgroup, match.span()
        if begin != start:
            break
        start = end
        if kind == "blank":
            continue
        words += kind in ("word", "section")
        if words > MAX_STEPS:
            raise chart_too_large(words)
        yield _mark(match, line, begin - line_start + 1)
        if kind == "end":
            more, after = line_of(match[0], len(match[0]))
            line, line_start = line + more - 1, begin + after
    if start < len(text):
        raise text_error(f"unexpected {text[start]!r}", start, "a symbol or a bar line")


def line_of(text: str, end: int) -> tuple[int, int]:
    """The line of the position `end`, from 1, and the position at which that line begins."""
    breaks = list(_LINE_BREAK.finditer(text, 0, end))
    return len(breaks) + 1, breaks[-1].end() if breaks else 0


def _mark(match: re.Match[str], line: int, column: int) -> Token:
    kind = match.lastgroup or ""
    if kind != "bar":
        return Token(kind, match[0], match.start(), line, column)
    closes, opens = match["closes"] is not None, match["opens"] is not None
    ending = _ending(match["ending"], match.start("ending")) if match["ending"] else ()
    return Token("bar", match[0], match.start(), line, column, closes, opens, ending)


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


def read_bars(text: str, start: int, measure_each: str | None = None) -> list[LexedBar]:
    """Bars with their signs from `start` on; a line end is a bar line that may follow another.

    `measure_each` says what a measure is on a line without bar lines: one of `MEASURE_EACH`.

    Raises
    ------
    ChartError
        If a measure is empty or a sign stands alone.
    MeasuresNeeded
        If there are symbols without bar lines, and no `measure_each`.
    TooLarge
        If there are more words than any chart has.
    """
    reader = _BarReader(measure_each)
    for mark in _marks(text, start):
        reader.take(mark, text)
    return reader.finish()


class _BarReader:
    """The bars so far, and what of the next one has been read."""

    def __init__(self, measure_each: str | None) -> None:
        self.bars: list[LexedBar] = []
        self.words: list[Token] = []
        self.signs = _PLAIN
        self.section = ""
        self.line: Token | None = None
        self.measure_each = measure_each
        self.barred = self.ever_barred = False

    def take(self, mark: Token, text: str) -> None:
        """Read one mark."""
        if mark.kind == "word":
            self.words.append(mark)
        elif mark.kind == "times":
            self._repeat_times(mark)
        elif mark.kind == "section":
            self._begin_section(mark, text)
        else:
            self._end_bar(mark)

    def finish(self) -> list[LexedBar]:
        """All bars, at the end of the text."""
        if self.words:
            self._add_words()
        elif self.signs.opens >= 0 or self.signs.ending:
            where = max(self.signs.opens, self.signs.ending_at)
            raise text_error(
                "no measure follows the last sign", where, "at least one measure after it"
            )
        if len(self.bars) > 1 and not self.ever_barred and self.measure_each is None:
            raise MeasuresNeeded.among(len(self.bars), self.bars[0].words[0].position)
        return self.bars

    def _end_bar(self, mark: Token) -> None:
        is_bar = mark.kind == "bar"
        self.barred |= is_bar
        self.ever_barred |= is_bar
        if self.words:
            self._add_words()
        elif is_bar and self.line is not None:
            _check_not_empty(self.line, mark)
        self.line = mark if is_bar else None
        self.signs = _signed(self.bars, self.signs, mark)
        if not is_bar:
            self.barred = False

    def _add_words(self) -> None:
        """The words as a bar, or as a bar each."""
        words, self.words = self.words, []
        if self.barred or len(words) == 1 or self.measure_each == "line":
            bars = [tuple(words)]
        elif self.measure_each is None:
            raise MeasuresNeeded.among(len(words), words[0].position)
        else:
            bars = [(word,) for word in words]
        signs, self.signs = self.signs, _PLAIN
        self.bars += [LexedBar(bars[0], *signs[1:-1], self.section), *map(LexedBar, bars[1:])]
        self.section = ""

    def _repeat_times(self, mark: Token) -> None:
        """``x3`` after a closing sign."""
        match = _TIMES.search(mark.text)
        times = int(match[0]) if match else 0
        if self.words or self.line is None or not self.line.closes or self.bars[-1].times_at >= 0:
            raise text_error(f"{mark.text} repeats nothing here", mark.position, "x3 after a :|")
        if times < 2:
            raise text_error("a repeat is played twice or more", mark.position, "x2 to x99")
        self.bars[-1] = self.bars[-1]._replace(times=times, times_at=mark.position)

    def _begin_section(self, mark: Token, text: str) -> None:
        """``[A]`` before the bar line of the section's first measure."""
        end = mark.position + len(mark.text)
        if text[end : end + 1].strip(" \t\r\n|"):
            raise text_error(
                "text follows the bracket: are these chords over lyrics?",
                end,
                'a blank after a section name, or text_format: "chordpro"',
            )
        if self.words:
            raise text_error(
                f"the section {mark.text[:20]} begins within a measure",
                mark.position,
                "a section name before its first bar line",
            )
        self.line = None
        self.section = f"{self.section} {mark.text.rstrip(':')[1:-1]}".strip()


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
