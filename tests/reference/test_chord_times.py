"""Chord-and-time files against mir_eval 0.8, which research scores chord recognition with."""

from __future__ import annotations

import io

import mir_eval

from scores.chart_files.test_chord_times import FILE
from shortway.core.charts import unroll
from shortway.scores.chart_files.chord_times import read_chord_times


def test_lines_are_those_that_mir_eval_reads() -> None:
    theirs, labels = mir_eval.io.load_labeled_intervals(io.StringIO(FILE), comment="#")
    lengths = [end - start for start, end in theirs]
    chart, tempo = read_chord_times(FILE, 120)
    ours = {}
    for step in unroll(chart):
        ours[step.symbol] = ours.get(step.symbol, 0) + step.beats
    inside = {label.replace("D/3", "D:maj/3"): n for label, n in zip(labels, lengths, strict=True)}
    del inside["N"]
    assert ours == {label: round(n * tempo / 60) for label, n in inside.items()}
