"""Rhythm: patterns along charts, by tables and laws; patterns are common practice, no source."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortway.core.charts import parse_chart, unroll
from shortway.core.errors import ShortwayError
from shortway.core.rhythm.onsets import onsets, swing_position
from shortway.core.rhythm.patterns import PATTERNS
from shortway.core.rhythm.rhythm import parse_rhythm
from support.charts import charts
from support.tables import each_row


def struck(chart: Any, rhythm: Any, *, loop: bool = False) -> str:
    """Symbol, quarter notes from the beginning and length of every hit."""
    read_ = parse_chart(chart)
    steps = unroll(read_)
    return " ".join(
        f"{steps[hit.step].symbol}@{float(hit.onset):g}+{float(hit.beats):g}"
        for hit in onsets(read_, steps, parse_rhythm(rhythm), loop=loop)
    )


TABLE: list[tuple[Any, Any, bool, str]] = [
    ("| Dm7 | G7 |", "charleston", False, "Dm7@0+1 Dm7@1.5+0.5 G7@4+1 G7@5.5+0.5"),
    ("| Dm7 G7 |", "charleston", False, "Dm7@0+1 Dm7@1.5+0.5 G7@2+2"),
    ("| Dm7 | G7 |", "charleston-from-three", False,
     "Dm7@2+1 G7@3.5+0.5 G7@6+1 G7@7.5+0.5"),
    ("| Dm7 | G7 |", "pushes", False,
     "Dm7@1.5+1.5 G7@3.5+1.5 G7@5.5+1.5 G7@7.5+0.5"),
    ("| Dm7 | G7 |", "pushes", True,
     "Dm7@1.5+1.5 G7@3.5+1.5 G7@5.5+1.5 Dm7@7.5+0.5"),
    ("| Dm7 | N.C. | G7 |", "pushes", False,
     "Dm7@1.5+1.5 G7@7.5+1.5 G7@9.5+1.5 G7@11.5+0.5"),
    ("meter: 3/4\n| Dm7 | G7 |", "after-beats", False,
     "Dm7@1+1 Dm7@2+1 G7@4+1 G7@5+1"),
    ("meter: 3/4\n| Dm7 | G7 |", "charleston", False, "Dm7@0+3 G7@3+3"),
    ("meter: 6/8\n| Dm7 | G7 |", "two-in-six", False,
     "Dm7@0+1 Dm7@1.5+1 G7@3+1 G7@4.5+1"),
    ({"measures": [[{"symbol": "G7", "beats": 1}], [{"symbol": "C6"}]]}, "charleston", False,
     "G7@0+1 C6@1+1 C6@2.5+0.5"),
    ("| Dm7 | G7 | C6 |",
     {"hits": [{"beat": 1, "beats": 3}, {"beat": 8.5, "beats": 0.5, "anticipate": True}],
      "hits_measures": 2}, False, "Dm7@0+3 G7@4+3.5 C6@7.5+0.5 C6@8+3"),
    ("| Dm7 Em7 Fmaj7 G7 |", {"hits": [{"beat": 1, "beats": 1, "anticipate": True}]}, False,
     "Dm7@0+1 Em7@1+1 Fmaj7@2+1 G7@3+1"),
    ("| C6 Dm7 Em7 F6 G7 Am7 Bdim C6 |", "pushes", False,
     "C6@0+0.5 Dm7@0.5+0.5 Em7@1+0.5 F6@1.5+0.5 G7@2+0.5 Am7@2.5+0.5 Bdim@3+0.5 C6@3.5+0.5"),
]  # fmt: skip


@each_row("chart, rhythm, loop, expected", TABLE)
def test_hits_along_a_chart(chart: Any, rhythm: Any, loop: bool, expected: str) -> None:
    assert struck(chart, rhythm, loop=loop) == expected


# Chords as short as an eighth, so that strokes fall right where one begins.
DENSE = st.lists(
    st.integers(1, 8).map(
        lambda n: " ".join(("C6", "Dm7", "Em7", "F6", "G7", "Am7", "Bb7", "N.C.")[:n])
    ),
    min_size=1,
    max_size=4,
).map(lambda measures: "| " + " | ".join(measures) + " |")


@given(charts(8) | DENSE, st.sampled_from(list(PATTERNS)), st.booleans())
def test_every_chord_is_heard_and_none_hangs_over(text: str, name: str, loop: bool) -> None:
    chart = parse_chart(text)
    steps = unroll(chart)
    found = onsets(chart, steps, parse_rhythm(name), loop=loop)
    starts = [Fraction(0)]
    for step in steps:
        starts.append(starts[-1] + step.beats)
    assert {h.step for h in found} == {k for k, s in enumerate(steps) if s.chord.root}
    for hit in found:
        assert hit.beats > 0
        ends = starts[hit.step + 1]
        assert hit.onset + hit.beats <= (ends if ends > hit.onset else starts[-1])
        early = starts[hit.step] - hit.onset
        assert early <= Fraction(1, 2) or hit.step == 0
    assert all(a.onset + a.beats <= b.onset for a, b in pairwise(found))


@given(st.fractions(1, 4), st.fractions(0, 1).filter(lambda f: f < 1))
def test_swing_makes_the_first_eighth_longer_by_its_ratio(ratio: Fraction, place: Fraction) -> None:
    late = swing_position(Fraction(1, 2), ratio)
    assert late / (1 - late) == ratio
    assert place <= swing_position(place, ratio) < 1
    assert swing_position(place, Fraction(1)) == place


HIT = {"beat": 1, "beats": 1}
REFUSED: list[tuple[Any, str, str]] = [
    ("waltz-of-doom", "out-of-range", "/rhythm"),
    (7, "wrong-type", ""),
    ({"rhythm": "held", "hits": [HIT]}, "out-of-range", "/hits"),
    ({"rhythm": "held", "hits_measures": 2}, "out-of-range", "/hits_measures"),
    ({"rhythm": 3}, "wrong-type", "/rhythm"),
    ({"hits": []}, "out-of-range", "/hits"),
    ({"hits": [HIT | {"beat": 5}]}, "out-of-range", "/hits/0/beat"),
    ({"hits": [HIT | {"beat": 0.5}]}, "out-of-range", "/hits/0/beat"),
    ({"hits": [HIT | {"beats": -1}]}, "out-of-range", "/hits/0/beats"),
    ({"hits": [HIT | {"beats": 5}]}, "out-of-range", "/hits/0/beats"),
    ({"hits": [HIT, HIT | {"beat": 1.5}]}, "out-of-range", "/hits/0/beats"),
    ({"hits": [{"beat": 3, "beats": 1}, HIT]}, "out-of-range", "/hits/0/beats"),
    ({"hits": [{"beat": 1}]}, "chart-unreadable", "/hits/0/beats"),
    ({"hits": [HIT | {"loud": 1}]}, "unknown-field", "/hits/0/loud"),
    ({"hits": [HIT | {"anticipate": 1}]}, "wrong-type", "/hits/0/anticipate"),
    ({"hits": [HIT], "hits_measures": 9}, "out-of-range", "/hits_measures"),
    ({"hits": [HIT], "hits_measures": True}, "wrong-type", "/hits_measures"),
    ({"hits": [HIT], "hits_meter": "4"}, "out-of-range", "/hits_meter"),
    ({"rhythm": "held", "swing": 5}, "out-of-range", "/swing"),
    ({"rhythm": "held", "swing": "2"}, "wrong-type", "/swing"),
]


@each_row("value, code, pointer", REFUSED)
def test_refuses_a_rhythm(value: Any, code: str, pointer: str) -> None:
    with pytest.raises(ShortwayError) as caught:
        parse_rhythm(value)
    (fault,) = caught.value.faults
    assert (caught.value.code, fault.pointer) == (code, pointer)
    assert fault.expected
