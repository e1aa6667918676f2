"""Tunes in ABC notation, with chord symbols over the notes -> lead sheet.

ABC standard 2.1 (abcnotation.com; from memory): ``"Am7"`` before a note is a chord symbol,
``"^text"`` an annotation. Symbols are read here; music21 reads all else.
"""

import re
from collections.abc import Iterator
from typing import Final

from shortway.core.charts.solfege import check_solfege
from shortway.core.errors import ChartError
from shortway.core.symbols.parser import parse_at
from shortway.core.theory.chord import Chord
from shortway.scores.chart_files.music21_client import PLACEHOLDERS, check_text, read_with_music21
from shortway.scores.leadsheet.model import ChartSource

_FIELD: Final = re.compile(r"([A-Za-z+]):(?![|:])")
#: What a line of music has beside notes: quoted texts, decorations, inline fields, comments, rests.
_PIECE: Final = re.compile(r'"([^"]*)("?)|![^!]*!|\[[A-Za-z]:[^\]]*\]|%.*|[xyXZ]')


def read_abc(text: str) -> ChartSource:
    """The lead sheet of one tune.

    Raises ChartError, SymbolError, BeatsError, TooLarge with the position in `text` of what is
    found before music21 reads it; FormatUnavailable if music21 is not installed.
    """
    check_text(text, "ABC notation")
    symbols: list[tuple[Chord, int]] = []
    lines = list(_lines(text, symbols))
    if not symbols:
        detail = "the tune has no chord symbols"
        raise ChartError.at("", detail, len(text), 'chord symbols before notes: "Am7"A')
    check_solfege((chord.symbol, "", position) for chord, position in symbols)
    return read_with_music21("".join(lines), "abc", symbols)


def _lines(text: str, symbols: list[tuple[Chord, int]]) -> Iterator[str]:
    """The lines with placeholders for chord symbols, which are added to `symbols`."""
    at = tunes = 0
    for line in text.splitlines(keepends=True):
        field = _FIELD.match(line)
        tunes += bool(field and field[1] == "X")
        if tunes > 1:
            raise ChartError.at("", "another tune begins here", at, "one tune")
        yield line if field or line.startswith("%") else _music(line, at, symbols)
        at += len(line)


def _music(line: str, at: int, symbols: list[tuple[Chord, int]]) -> str:
    def piece(match: re.Match[str]) -> str:
        found = match[0]
        if found in ("X", "Z"):
            detail = "a rest of several measures is not read"
            raise ChartError.at("", detail, at + match.start(), "a z for each measure")
        if found in ("x", "y"):  # an invisible rest; a space
            return "z" if found == "x" else ""
        if not found.startswith('"'):
            return found
        if not match[2]:
            raise ChartError.at("", "the quotation mark is not closed", at + match.start(), '"')
        if match[1][:1] in ("^", "_", "<", ">", "@"):
            return ""
        position = at + match.start(1)
        symbols.append((parse_at(match[1], position), position))
        return f'"{PLACEHOLDERS[(len(symbols) - 1) % len(PLACEHOLDERS)]}"'

    return _PIECE.sub(piece, line)
