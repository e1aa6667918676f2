"""Chord-and-time files as charts; the format as `mir_eval.io.load_labeled_intervals` reads it."""

from __future__ import annotations

import random

import pytest

from shortway.core.charts import Chart, unroll
from shortway.core.errors import ShortwayError
from shortway.scores.chart_files.chord_times import read_chord_times
from shortway.scores.chart_files.tempo_estimation import estimate_tempo
from support.tables import each_row

FILE = """# ours
0.00\t1.20\tN
1.20\t3.21\tC:maj7
3.21\t4.20\tA:min7/b3
4.20\t5.19\tD/3
5.19\t9.20\tG:7(b9,*5)
9.20\t10.21\tX
10.21\t11.19\tC#:min7
11.19\t20\tN
"""


def line(chart: Chart) -> str:
    return "".join(
        ("|" if s.beat == 1 else " ") + f"{s.chord.name}:{s.beats}" for s in unroll(chart)
    )


def test_a_file_is_read_at_an_estimated_tempo() -> None:
    chart, tempo = read_chord_times(FILE)
    assert tempo == pytest.approx(120, rel=0.02)
    assert line(chart) == ("|Cmaj7:4|Am7/C:2 D/F#:2|G7b9(no5):4|G7b9(no5):4|N.C.:2 C#m7:2")


def test_tempo_and_meter_may_be_given() -> None:
    chart, tempo = read_chord_times("0 2 C:maj\n2 4 F:maj\n", 60)
    assert (line(chart), tempo) == ("|C:2 F:2", 60)
    chart, tempo = read_chord_times("0 2 C:maj\n2 3.5 F:maj\n", 90, (6, 8))
    assert (line(chart), chart.meter) == ("|C:6|F:4", (6, 8))


def intervals(seed: int) -> tuple[float, int, list[float]]:
    """A tempo, beats in a measure, and lengths of chords that are played within 2 %."""
    draw = random.Random(seed)
    tempo, beats = draw.uniform(60, 200), draw.choice([4, 4, 4, 3])
    choices = [beats] * 6 + [2 * beats] * 2 + ([2] * 3 if beats == 4 else [])
    lengths = [draw.choice(choices) for _ in range(draw.randint(4, 60))]
    return tempo, beats, [n * 60 / tempo * (1 + draw.gauss(0, 0.02)) for n in lengths]


def test_tempos_of_drawn_charts_are_found() -> None:
    """No source: nine of ten charts of our own drawing, the rest an octave off."""
    ratios = [
        estimate_tempo(lengths, beats) / tempo
        for tempo, beats, lengths in map(intervals, range(100))
    ]
    right = [ratio for ratio in ratios if abs(ratio - 1) < 0.03]
    assert len(right) >= 85
    assert all(min(abs(r - 1), abs(r - 2), abs(r - 0.5)) < 0.05 for r in ratios)


@each_row(
    "code, text, position",
    [
        ("chart-unreadable", "", 0),
        ("chart-unreadable", "# nothing\n", 10),
        ("chart-unreadable", "0 1 N\n", 6),
        ("chart-unreadable", "0 2 C\n2 4", 9),
        ("chart-unreadable", "0 2 C\n2", 7),
        ("chart-unreadable", "0 2 C major", 6),
        ("chart-unreadable", "| C | F |", 6),
        ("chart-unreadable", "zero 1 C", 0),
        ("chart-unreadable", "0 inf C", 2),
        ("chart-unreadable", "-1 2 C", 0),
        ("chart-unreadable", "0 1e300 C", 2),
        ("chart-unreadable", "1 1 C", 2),
        ("chart-unreadable", "0 1 C\n2 3 D", 6),
        ("chart-unreadable", "0 2 C\n1 3 D", 6),
        ("symbol-unreadable", "0 1 C:maj\n1 2 D:foo", 16),
        ("symbol-unreadable", "0 1 " + "C" * 1_000_000, 4 + 64),
        ("chart-unreadable", "1" * 1_000_000, 1_000_000),
        ("chart-unreadable", "0 1 C" + " " * 1_000_000 + "D", 1_000_005),
        ("chart-unreadable", "\x89PNG\r\n\x1a\n\x00\x00", 4),
        ("search-too-large", "0 86400 C", None),
    ],
)  # fmt: skip
def test_files_that_cannot_be_read(code: str, text: str, position: int | None) -> None:
    with pytest.raises(ShortwayError) as caught:
        read_chord_times(text, 120)
    fault = caught.value.faults[0]
    assert (caught.value.code, fault.position) == (code, position)
    assert fault.expected
