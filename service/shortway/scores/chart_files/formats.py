"""The text formats of charts: one table, and the reader of each; those of music21 load late.

Faults of a text have line and column beside their position.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final, NamedTuple

from shortway.core.charts.text_lexer import line_of
from shortway.core.charts.text_parser import parse_text_chart
from shortway.core.errors import Fault, ShortwayError
from shortway.scores.chart_files.chord_times import read_chord_times
from shortway.scores.chart_files.chordpro import read_chordpro
from shortway.scores.leadsheet.model import ChartSource


class TextFormat(NamedTuple):
    """A format: its media type, the ends of its files' names, and the options of its reader."""

    title: str
    media_type: str
    suffixes: tuple[str, ...]
    options: tuple[str, ...]
    example: str
    not_read: str


DEFAULT_FORMAT: Final = "grid"
#: By `text_format`, the default first.
TEXT_FORMATS: Final[Mapping[str, TextFormat]] = {
    "grid": TextFormat(
        "text chart", "text/plain", (".txt", ".chart"), ("measure_each",),
        "| Eb7 | Ab7 |",
        "nothing",
    ),
    "chordpro": TextFormat(
        "ChordPro song", "text/x-chordpro", (".cho", ".crd", ".chopro", ".chordpro", ".pro"),
        ("measure_each",),
        "| [Am7]Leave me the | [D7]key |",
        "lyrics, annotations, diagrams, tablature, capo, names of sections; transpose, a change of "
        "meter and `%%` in a grid are rejected",
    ),
    "lab": TextFormat(
        "chord-and-time file", "text/x-chord-lab", (".lab",), ("tempo", "meter"),
        "0.0 2.0 C:maj7\n2.0 4.0 A:min7/b3\n",
        "silence before and after the chords; lengths that are no whole beats are rounded",
    ),
    "abc": TextFormat(
        "ABC tune", "text/vnd.abc", (".abc",), (),
        'X:1\nM:4/4\nL:1/4\nK:C\n"Am7"A2 "D7"d2|]\n',
        "annotations, lyrics; a second tune and rests of several measures are rejected",
    ),
    "romantext": TextFormat(
        "RomanText analysis", "text/x-romantext", (".rntxt", ".romantext"), (),
        "Time Signature: 4/4\nm1 C: I b3 V7\n",
        "notes, forms, pedals, variants",
    ),
}  # fmt: skip


def read_text(text: str, text_format: str = DEFAULT_FORMAT, **options: Any) -> ChartSource:
    """The chart of a text in a format of `TEXT_FORMATS`, with options of its reader.

    Raises ShortwayError with position, line and column in `text` where something of it is wrong.
    """
    try:
        return _READERS[text_format](text, **options)
    except ShortwayError as error:
        error.faults = tuple(_placed(fault, text) for fault in error.faults)
        raise


def _placed(fault: Fault, text: str) -> Fault:
    if fault.position is None:
        return fault
    line, begin = line_of(text, fault.position)
    return replace(fault, line=line, column=fault.position - begin + 1)


def _lab(text: str, **options: Any) -> ChartSource:
    chart, tempo = read_chord_times(text, **options)
    return ChartSource(chart, tempo=tempo)


def _abc(text: str) -> ChartSource:
    from shortway.scores.chart_files.abc_tune import read_abc

    return read_abc(text)


def _roman_text(text: str) -> ChartSource:
    from shortway.scores.chart_files.roman_text import read_roman_text

    return read_roman_text(text)


_READERS: Final[Mapping[str, Callable[..., ChartSource]]] = {
    "grid": lambda text, **options: ChartSource(parse_text_chart(text, **options)),
    "chordpro": lambda text, **options: ChartSource(read_chordpro(text, **options)),
    "lab": _lab,
    "abc": _abc,
    "romantext": _roman_text,
}


def format_of_name(name: str) -> str | None:
    """The text format that a file's name ends as; None where it is none.

    >>> format_of_name("song.cho"), format_of_name("Tune.ABC"), format_of_name("tune.mid")
    ('chordpro', 'abc', None)
    """
    lowered = name.lower()
    return next((k for k, f in TEXT_FORMATS.items() if lowered.endswith(f.suffixes)), None)
