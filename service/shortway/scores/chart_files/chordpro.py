"""ChordPro: chords in brackets over lyrics, and grids -> Chart.

The open format of chordpro.org (ChordPro 6; grids as in its page directives-env_grid). The text is
blanked out up to what a text chart has, chords and bar lines, all in their places; the reader of
text charts reads the rest, so that positions stay those of the text. A chorus that is recalled is
played again. Chords last as the cells of a grid or the bar lines among the lyrics say; else
`measure_each` says what a measure is.
"""

import re
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from shortway.core.charts.headers import (
    KEY_EXPECTED,
    MAX_TITLE,
    METER_EXPECTED,
    normalize_key,
    normalize_title,
    read_meter,
)
from shortway.core.charts.model import MAX_STEPS, Chart, chart_too_large, empty_chart
from shortway.core.charts.text_lexer import MEASURE_EACH, LexedBar, read_bars, text_error
from shortway.core.charts.text_parser import read_measure_each, read_measures
from shortway.core.charts.text_repeats import playing_order
from shortway.core.errors import SymbolError, TooLarge, one_of
from shortway.core.symbols import parser as symbols

#: Lines of a song.
MAX_LINES: Final = 4 * MAX_STEPS
_DIRECTIVE: Final = re.compile(r"\s*+\{\s*+([\w-]++)\s*+:?\s*+([^{}]*+)\}\s*+")
_BRACKET: Final = re.compile(r"\[([^\[\]]*)(\]?)")
#: What is blanked out of a line: all of it, or all but bar lines.
_ANY: Final = re.compile(r"[^\r\n]")
_LYRIC: Final = re.compile(r"[^|\r\n]")
_SECTION: Final = re.compile(r"(start|end)_of_(\w+)")
_ENDING: Final = re.compile(r"(\|\d)[ >]")
_TIMES: Final = re.compile(r"\(?(?:[xX×]\d+|\d+[xX×])\)?")
_SHORT: Final = {
    "t": "title", "soc": "start_of_chorus", "eoc": "end_of_chorus", "sov": "start_of_verse",
    "eov": "end_of_verse", "sob": "start_of_bridge", "eob": "end_of_bridge",
    "sot": "start_of_tab", "eot": "end_of_tab", "sog": "start_of_grid", "eog": "end_of_grid",
    "ns": "new_song",
}  # fmt: skip
_EMPTY_CELL: Final = re.compile(r"(?<![^\s|:\]])\.(?=[\s|:]|\Z)")
#: A measure like the one before, with empty cells.
_REPEATED: Final = re.compile(r"(?<!\S)%(?:[ \t]+\.)+(?=[ \t]*(?:[|:\r\n]|\Z))")
#: Sections whose lines are something else than chords and lyrics.
_SKIPPED: Final = frozenset({"tab", "abc", "ly", "svg", "textblock"})


@dataclass
class _Song:
    """What has been read: the text with all but chords blanked out, and what directives say.

    `choruses` are pairs: where a chorus is recalled, and the part of the text that it is.
    """

    text: list[str] = field(default_factory=list)
    title: str | None = None
    meter: tuple[int, int] | None = None
    measure_each: str | None = None
    keys: list[tuple[int, str]] = field(default_factory=list)
    section: tuple[str, int] | None = None
    chorus: tuple[int, int] | None = None
    choruses: list[tuple[int, tuple[int, int]]] = field(default_factory=list)


def read_chordpro(text: str, measure_each: str | None = None) -> Chart:
    """The chart of a ChordPro song.

    `measure_each`: what a measure is where there are neither a grid nor bar lines: ``symbol`` or
    ``line``. The song's own ``{x_measure_each: …}`` goes before it.

    Raises ChartError, MeasuresNeeded, SymbolError, BeatsError with the position in `text` and what
    was expected there; TooLarge if more than `MAX_STEPS` steps would be played.
    """
    song = _Song(measure_each=measure_each)
    at = 0
    lines = text.splitlines(keepends=True)
    if len(lines) > MAX_LINES:
        raise TooLarge.at("", f"the song has {len(lines):,} lines", None, f"at most {MAX_LINES:,}")
    for line in lines:
        song.text.append(_read_line(song, line, at))
        at += len(line)
    if song.section is not None:
        name, opened = song.section
        raise text_error(f"the {name} is not closed", opened, f"{{end_of_{name}}}")
    bars = read_bars("".join(song.text), 0, song.measure_each)
    if not bars:
        raise empty_chart(len(text))
    meter = song.meter or (4, 4)
    order = _order(bars, song)
    measures = read_measures(bars, order, meter[0], cells=True)
    keys = _keys(bars, song)
    first = keys.pop(1, None)
    return Chart(measures, meter, first, song.title, order, (), tuple(keys.items()))


# --- lines ------------------------------------------------------------------------------------


def _read_line(song: _Song, line: str, at: int) -> str:
    """The line with all but its chords and bar lines blanked out."""
    bare = line.strip()
    blank = _ANY.sub(" ", line)
    if bare.startswith("{"):
        match = _DIRECTIVE.fullmatch(line)
        if match is None:
            where = at + line.index("{")
            raise text_error(f"cannot read the directive {bare[:40]!r}", where, "{name: value}")
        _read_directive(song, match, at)
        return blank
    section = song.section[0] if song.section else ""
    if bare.startswith("#") or section in _SKIPPED:
        return blank
    return _grid_row(line) if section == "grid" else _lyrics(line, at)


def _lyrics(line: str, at: int) -> str:
    """Chords without their brackets, and, in a line with chords, bar lines."""
    pieces: list[str] = []
    last = 0
    for match in _BRACKET.finditer(line):
        if not match[2]:
            raise text_error("the chord is not closed", at + match.start(), "] after the chord")
        pieces += _LYRIC.sub(" ", line[last : match.start()]), _bracketed(match[0])
        last = match.end()
        if len(pieces) > 2 * MAX_STEPS:
            raise chart_too_large(len(pieces) // 2)
    return "".join([*pieces, (_LYRIC if last else _ANY).sub(" ", line[last:])])


def _bracketed(text: str) -> str:
    """What is in brackets in its place; nothing of an annotation, which begins with ``*``."""
    chord = text[1:-1].strip()
    if chord.startswith("(") and chord.endswith(")"):
        chord = chord[1:-1].strip()
    if chord.startswith("*"):
        chord = ""
    return (" " * text.index(chord) + chord).ljust(len(text)) if chord else " " * len(text)


def _grid_row(line: str) -> str:
    """Cells and bar lines of a row in the signs of a text chart, without its margins."""
    first = line.find("|")
    if first < 0 or line[first : first + 2] in ("|s", "|S"):
        return _ANY.sub(" ", line)
    first -= line[first - 1 : first] == ":"
    last = line.rindex("|") + 1
    if line[last : last + 1] in (".", ":"):
        last += 1
    inside, after = line[first:last], line[last:]
    if not _is_cell(after.split()[:1]):
        after = _ANY.sub(" ", after)
    row = _ENDING.sub(r"\1.", (inside + after).replace("|.", "|]"))
    row = _REPEATED.sub(lambda match: match[0].replace(".", " "), row)
    return " " * first + _EMPTY_CELL.sub("/", row)


def _is_cell(words: Sequence[str]) -> bool:
    try:
        read = words and (
            _TIMES.fullmatch(words[0]) or words[0] in "./%" or symbols.parse(words[0])
        )
        return bool(read)
    except SymbolError:
        return False


# --- directives -------------------------------------------------------------------------------


def _read_directive(song: _Song, match: re.Match[str], at: int) -> None:
    name = _SHORT.get(match[1].lower(), match[1].lower())
    value, where = match[2].rstrip(), at + match.start(2 if match[2] else 1)
    if name == "meta" and " " in value:
        name, _, value = value.partition(" ")
    if section := _SECTION.fullmatch(name):
        _begin_or_end(song, section[1], section[2], at)
    elif name == "chorus":
        if song.chorus is None:
            raise text_error("no chorus comes before this one", where, "a chorus to play again")
        song.choruses.append((at, song.chorus))
    elif name == "title":
        song.title = normalize_title(" ".join(value.split())[:MAX_TITLE]) or song.title
    elif name == "key":
        song.keys.append((at, _valid(normalize_key(value), "key", value, where, KEY_EXPECTED)))
    elif name == "time":
        _set_meter(song, value, where)
    elif name == "x_measure_each":
        each = read_measure_each(value)
        song.measure_each = _valid(each, name, value, where, one_of(MEASURE_EACH))
    elif name == "new_song":
        raise text_error("another song begins here", where, "one song")
    elif name == "transpose" and value.strip("0"):
        raise text_error("transpose is not read", where, "chords as they sound")


def _valid(found: str | None, name: str, value: str, where: int, expected: str) -> str:
    if found is None:
        raise text_error(f"{value[:40]!r} is not a valid {name}", where, expected)
    return found


def _set_meter(song: _Song, value: str, where: int) -> None:
    meter = read_meter(value)
    if meter is None:
        raise text_error(f"{value[:40]!r} is not a valid time", where, METER_EXPECTED)
    if song.meter not in (None, meter):
        raise text_error("a change of meter is not read", where, "one {time: …}")
    song.meter = meter


def _begin_or_end(song: _Song, which: str, name: str, start: int) -> None:
    if which == "start":
        if song.section is not None:
            raise text_error(f"the {song.section[0]} is not closed", start, "its end before this")
        song.section = name, start
        return
    if song.section is None or song.section[0] != name:
        raise text_error(f"no {name} is open here", start, f"{{start_of_{name}}} before it")
    if name == "chorus":
        song.chorus = song.section[1], start
    song.section = None


# --- what directives say of bars ---------------------------------------------------------------


def _order(bars: Sequence[LexedBar], song: _Song) -> tuple[int, ...]:
    """The bars as played, numbers from 1: each chorus once more wherever it is recalled."""
    starts = [bar.words[0].position for bar in bars]
    order: list[int] = []
    begin = 0
    for at, (start, end) in song.choruses:
        here = bisect_left(starts, at)
        order += _played(bars, begin, here)
        order += _played(bars, bisect_left(starts, start), bisect_left(starts, end))
        begin = here
        if len(order) > MAX_STEPS:
            raise chart_too_large(len(order))
    return (*order, *_played(bars, begin, len(bars)))


def _played(bars: Sequence[LexedBar], begin: int, end: int) -> list[int]:
    return [begin + number for number in playing_order(bars[begin:end])]


def _keys(bars: Sequence[LexedBar], song: _Song) -> dict[int, str]:
    """Keys by the measure from which on they hold."""
    starts = [bar.words[0].position for bar in bars]
    keys: dict[int, str] = {}
    for at, key in song.keys:
        number = bisect_left(starts, at) + 1
        if number <= len(bars) and key != next(reversed(keys.values()), None):
            keys[number] = key
    return keys
