"""Chord-and-time files (``.lab``): lines of start, end and Harte label -> Chart.

The format of research corpora, as `mir_eval.io.load_labeled_intervals` reads it: seconds and a
label with blanks between, ``#`` before a comment. Each chord lasts the nearest whole number of
beats, at least one, at a tempo that is given or estimated. What is before the first and after the
last chord (``N``, ``X``) is left out; the first chord begins measure 1.
"""

import math
import re
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Final, NamedTuple

from shortway.core.charts.model import (
    MAX_STEPS,
    Chart,
    Entry,
    Measure,
    Place,
    chart_too_large,
    check_step_limit,
    empty_chart,
)
from shortway.core.errors import ChartError
from shortway.core.symbols.parser import parse_at
from shortway.core.theory.chord import Chord
from shortway.scores.chart_files.tempo_estimation import estimate_tempo

#: Seconds that a line may begin before or after the end of the line above.
_TOLERANCE: Final = 0.1
#: Seconds that a file may last.
_LONGEST: Final = 86_400
_LINE: Final = re.compile(r"[ \t]*(\S+)(?:[ \t]+(\S+))?(?:[ \t]+(\S+))?[ \t]*(.*)")
_COMMENT: Final = re.compile(r"(?:^|(?<=\s))#.*", re.DOTALL)
_EXPECTED: Final = "start and end in seconds, and a Harte label: 0.0 1.5 C:maj7"
#: A label without a colon has a degree for its bass, too.
_PLAIN: Final = re.compile(r"([A-G][b#]*)(/[b#]*\d+)")


class _Sounding(NamedTuple):
    """A line: its seconds, and its chord as written and as read, and where that stands."""

    start: float
    end: float
    symbol: str
    chord: Chord
    place: Place

    def entry(self, beats: int) -> Entry:
        """The chord for so many beats."""
        return Entry(self.symbol, self.chord, Fraction(beats), place=self.place)


def read_chord_times(
    text: str, tempo: float | None = None, meter: tuple[int, int] = (4, 4)
) -> tuple[Chart, float]:
    """The chart of a chord-and-time file, and the tempo that it was read at.

    `tempo`: quarter notes a minute; estimated from the lengths of the chords where None.

    Raises ChartError, SymbolError with the position in `text` and what was expected there; TooLarge
    if the chart has more than `MAX_STEPS` steps.
    """
    lines = list(_lines(text))
    sounding = [k for k, line in enumerate(lines) if line.chord.root is not None]
    if not sounding:
        raise empty_chart(len(text))
    chords = lines[sounding[0] : sounding[-1] + 1]
    seconds = [line.end - line.start for line in chords]
    beats, unit = meter
    pace = tempo or estimate_tempo(seconds, beats) * 4 / unit
    lengths = [max(1, round(length * pace * unit / 240)) for length in seconds]
    chart = Chart(_measures(chords, lengths, beats), meter)
    check_step_limit(chart.measures, chart.order)
    return chart, round(pace, 2)


def _lines(text: str) -> Iterator[_Sounding]:
    end: float | None = None
    at = count = 0
    for number, line in enumerate(text.splitlines(keepends=True), 1):
        if (found := _COMMENT.sub("", line)).strip():
            if (count := count + 1) > MAX_STEPS:
                raise chart_too_large(count)
            sounding = _line(found.rstrip("\r\n"), at, number, end)
            end = sounding.end
            yield sounding
        at += len(line)


def _line(line: str, at: int, number: int, before: float | None) -> _Sounding:
    match = _LINE.match(line)
    if match is None or match[3] is None or match[4]:
        where = at + (match.start(4) if match and match[4] else len(line))
        raise ChartError.at("", f"cannot read {line.strip()[:40]!r}", where, _EXPECTED)
    start = _seconds(match[1], at + match.start(1))
    end = _seconds(match[2], at + match.start(2))
    if end <= start:
        detail = f"the chord ends at {end:g} s, not after its start at {start:g} s"
        raise ChartError.at("", detail, at + match.start(2), "an end after the start")
    if before is not None and abs(start - before) > _TOLERANCE:
        detail = f"the line begins at {start:g} s; the one above ends at {before:g} s"
        raise ChartError.at(
            "", detail, at + match.start(1), "lines that follow each other; N for no chord"
        )
    place = Place(number, match.start(3) + 1, len(match[3]))
    return _Sounding(start, end, *_label(match[3], at + match.start(3)), place)


def _seconds(text: str, position: int) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = math.nan
    if not 0 <= seconds <= _LONGEST:
        raise ChartError.at("", f"{text[:20]!r} is not a time in seconds", position, _EXPECTED)
    return seconds


def _label(text: str, position: int) -> tuple[str, Chord]:
    plain = _PLAIN.fullmatch(text)
    added = ":maj" if plain else ""  # what a label without a shorthand means
    symbol = f"{plain[1]}{added}{plain[2]}" if plain else text
    # a fault is of what follows the root: a plain root can be read
    return symbol, parse_at(symbol, position - len(added))


def _measures(
    chords: Sequence[_Sounding], lengths: Sequence[int], beats: int
) -> tuple[Measure, ...]:
    """Measures of so many beats, the last one maybe short; a chord over a bar line is cut there."""
    if sum(lengths) > MAX_STEPS * beats:
        raise chart_too_large(sum(lengths) // beats)
    measures: list[Measure] = []
    entries: list[Entry] = []
    room = beats
    for sounding, length in zip(chords, lengths, strict=True):
        left = length
        while left:
            share = min(left, room)
            entries.append(sounding.entry(share))
            left, room = left - share, room - share
            if not room:
                measures.append(tuple(entries))
                entries, room = [], beats
    return (*measures, tuple(entries)) if entries else tuple(measures)
