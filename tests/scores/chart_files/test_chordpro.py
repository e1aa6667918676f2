"""ChordPro songs as charts.

Rules of chordpro.org: the pages introduction, directives, directives-env_grid and
directives-env_chorus. The songs are ours.
"""

from __future__ import annotations

import pytest

from shortway.core.charts import Chart, unroll
from shortway.core.errors import ShortwayError
from shortway.scores.chart_files.chordpro import read_chordpro
from support.tables import each_row

SONG = """# a comment: [B7]
{title: Wet Umbrella}
{key: G}
{time: 3/4}

{start_of_verse: label="Verse 1"}
[G]Rain on the [Em7]window, [*softly]
[C]  none on the [D7]floor
{end_of_verse}
{soc}
[Am7]Leave me the [D7sus4]key
{eoc}
{comment: [X]}
[(G)]Dry
{key: A}
{chorus: Again}
{start_of_tab}
E|--[3]--
{end_of_tab}
[A]Out
"""


def line(chart: Chart) -> str:
    """Symbols in playing order with their beats, a bar line wherever a measure begins."""
    return "".join(
        ("|" if s.beat == 1 else " ") + f"{s.symbol}:{s.beats}" for s in unroll(chart)
    ).replace(":4", "")


def grid(*rows: str) -> str:
    return line(read_chordpro("\n".join(["{start_of_grid 1+4x4+1}", *rows, "{end_of_grid}"])))


@each_row(
    "measure_each, want",
    [
        ("symbol", "|G:3|Em7:3|C:3|D7:3|Am7:3|D7sus4:3|G:3|Am7:3|D7sus4:3|A:3"),
        ("line", "|G:3/2 Em7:3/2|C:3/2 D7:3/2|Am7:3/2 D7sus4:3/2|G:3|Am7:3/2 D7sus4:3/2|A:3"),
    ],
)
def test_chords_over_lyrics(measure_each: str, want: str) -> None:
    chart = read_chordpro(SONG, measure_each)
    assert line(chart) == want
    assert (chart.title, chart.key, chart.meter) == ("Wet Umbrella", "G", (3, 4))
    assert [key for _, key in chart.keys] == ["A"]
    own = read_chordpro(SONG + f"{{x_measure_each: {measure_each}}}")
    assert own == chart


def test_bar_lines_among_lyrics_are_bar_lines() -> None:
    song = "[Dm7]one [G7]bar | [C]another |\n| [F]and [G]two | [C]more"
    assert line(read_chordpro(song)) == "|Dm7:2 G7:2|C|F:2 G:2|C"


@each_row(
    "rows, want",
    [
        (("| G7 . . . | % . . . | C7 . F . | C / . . |.",), "|G7|G7|C7:2 F:2|C"),
        (("A || G7 . | % . | . . | C7 . |", "  |  F . || end"), "|G7|G7|G7|C7|F"),
        (("|: C . . | G . . :| repeat twice",), "|C|G|C|G"),
        (("|: C . | D . :| x3", "| E . |"), "|C|D|C|D|C|D|E"),
        (("|: C . |1 D . :|2 E . |.",), "|C|D|C|E"),
        (("|: C . :|: D . :|", "| E . | F ."), "|C|C|D|D|E|F"),
        (("| C . . G | F |", "|s d d u |"), "|C:3 G:1|F"),
    ],
)  # fmt: skip
def test_grids(rows: tuple[str, ...], want: str) -> None:
    """Cells share their measure; what stands left or right of the bar lines is a margin."""
    assert grid(*rows) == want


@each_row(
    "code, song, position",
    [
        ("chart-unreadable", "", 0),
        ("chart-unreadable", "only lyrics\n", 12),
        ("measures-needed", "[Am]la\n[G]la [F]la", 8),
        ("measures-needed", "[Am]la\n[G]la", 1),
        ("symbol-unreadable", "[Am]la | [Hm]la |", 10),
        ("symbol-unreadable", "[Do7]la | [Re]la", 1),
        ("chart-unreadable", "| [Am]la | [G", 11),
        ("chart-unreadable", "[Am]la\n{title", 7),
        ("chart-unreadable", "{soc}\n[Am]la", 0),
        ("chart-unreadable", "[Am]la\n{eoc}", 7),
        ("chart-unreadable", "{sov}\n{soc}\n[Am]la", 6),
        ("chart-unreadable", "[Am]la\n{chorus}", 8),
        ("chart-unreadable", "{time: 4/3}", 7),
        ("chart-unreadable", "{time: 4/4}\n{time: 3/4}", 19),
        ("chart-unreadable", "{key: H}", 6),
        ("chart-unreadable", "{x_measure_each: bar}", 17),
        ("chart-unreadable", "{transpose: 2}", 12),
        ("chart-unreadable", "[Am]la |\n{ns}\n", 10),
        ("symbol-unreadable", "{sog}\n| C . | %% . |\n{eog}", 14),
        ("symbol-unreadable", "[" + "A" * 1_000_000 + "] |", 1 + 64),
        ("search-too-large", "[A]" * 330_000, None),
        ("search-too-large", "la\n" * 300_000, None),
        ("chart-unreadable", "[" * 1_000_000, 0),
        ("chart-unreadable", "{" + " " * 1_000_000, 0),
        ("symbol-unreadable", "[A" + " " * 500_000 + "\x00] |", 500_002),
        ("chart-unreadable", "[\x89PNG\r\x1a\x00] |", 0),
        ("search-too-large", "{soc}\n" + "[A]|" * 4000 + "\n{eoc}\n{chorus}\n{chorus}", None),
    ],
)  # fmt: skip
def test_songs_that_cannot_be_read(code: str, song: str, position: int | None) -> None:
    with pytest.raises(ShortwayError) as caught:
        read_chordpro(song)
    fault = caught.value.faults[0]
    assert (caught.value.code, fault.position) == (code, position)
    assert fault.expected
