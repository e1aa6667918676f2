"""Charts: tables of what is read, tables of what is refused and where, and laws."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortway.core import charts
from shortway.core.charts import (
    MAX_STEPS,
    Chart,
    chart_json,
    chart_text,
    parse_chart,
    parse_json_chart,
    parse_text_chart,
    unroll,
)
from shortway.core.errors import (
    BeatsError,
    ChartError,
    ShortwayError,
    SymbolError,
    TooLarge,
    WrongType,
)
from support.tables import each_row

FOUR = Fraction(4)


def played(chart: Chart) -> list[tuple[int, Fraction, Fraction, str]]:
    return [(s.measure, s.beat, s.beats, s.symbol) for s in unroll(chart)]


def line(text: str) -> str:
    """The symbols in playing order, a bar line wherever a measure begins."""
    return "".join(("|" if s.beat == 1 else " ") + s.symbol for s in unroll(parse_text_chart(text)))


# --- the text form ----------------------------------------------------------------------------

PLAYED = [
    ("| Eb7 | Ab7 | Eb7 | % |", "|Eb7|Ab7|Eb7|Eb7"),
    ("Eb7 | Ab7", "|Eb7|Ab7"),
    ("| Eb7 | Ab7", "|Eb7|Ab7"),
    ("Eb7|Ab7|", "|Eb7|Ab7"),
    ("| Dm7 G7 | Cmaj7 |", "|Dm7 G7|Cmaj7"),
    ("| C/E | F6/9 |", "|C/E|F6/9"),
    ("| C || F |]", "|C|F"),
    ("| C |\n| F |\n\n| G |", "|C|F|G"),
    ("| C |\r\n F | G\rAm |", "|C|F|G|Am"),
    ("C | F\nG", "|C|F|G"),
    ("Dm7 G7 |\n", "|Dm7 G7"),
    ("Eb7", "|Eb7"),
    ("Bb:min7/b3 | G:7(b9,*5)", "|Bb:min7/b3|G:7(b9,*5)"),
    ("| N | C% | X |", "|N|C%|X"),
    # grids as they are pasted: sections, bars without outer bar lines, times of a repeat
    ("[A]\n| C | F |\n[B] G | Am\n", "|C|F|G|Am"),
    ("[Verse 1]: |: C | F :| x3\n[B]|G|", "|C|F|C|F|C|F|G"),
    ("|: C :| X2 |: F :| (3x) | G |", "|C|C|F|F|F|G"),
    ("|: C :| ×2|: F :|3x", "|C|C|F|F|F"),
    ("|: [A] C | [B] F :|", "|C|F|C|F"),
    # what a measure is where no bar line says so
    ("measure_each: symbol\nDm7 G7\n| Cmaj7 | Am7 D7 |", "|Dm7|G7|Cmaj7|Am7 D7"),
    ("measure_each: symbol\nDm7 G7 %", "|Dm7|G7|G7"),
    ("measure_each: line\nDm7 G7\nCmaj7", "|Dm7 G7|Cmaj7"),
    ("\ufeff| C\u00a0F |", "|C F"),
    ("| C7(b9, #11) | F |", "|C7(b9, #11)|F"),
    ("| C / F / |", "|C F"),
    ("| N.C. | C |", "|N.C.|C"),
    ("|: C | F :|", "|C|F|C|F"),
    ("|: C :|: F :|", "|C|C|F|F"),
    ("|: C :||: F :|", "|C|C|F|F"),
    ("|: C :| |: F :|", "|C|C|F|F"),
    ("|: C :|\n|: F :|", "|C|C|F|F"),
    ("| G | |: C :| F |", "|G|C|C|F"),
    ("|:C|F:|", "|C|F|C|F"),
    ("|: C |1. F :|2. G | Am |", "|C|F|C|G|Am"),
    ("|: C | D |1. F :|\n|2. G |", "|C|D|F|C|D|G"),
    ("|: C |1. F :|2. G :|", "|C|F|C|G"),
    ("|: C |1. F :|2. G :|3. Am |", "|C|F|C|G|C|Am"),
    ("|: C |1.,2. F :|3. G |", "|C|F|C|F|C|G"),
    ("|: C |1.2. F :|3. G |", "|C|F|C|F|C|G"),
    ("|: C |1-3. F :| 4. G |", "|C|F|C|F|C|F|C|G"),
    ("|: C | % :| % |", "|C|C|C|C|C"),
    ("| C | / / F / |", "|C|C F"),
]


@each_row("text, want", PLAYED)
def test_plays_in_order(text: str, want: str) -> None:
    assert line(text) == want


def test_symbols_share_a_measure_equally() -> None:
    chart = parse_text_chart("meter: 3/4\n| C F | G C F G | Am |")
    assert [[e.beats for e in m] for m in chart.measures] == [
        2 * [Fraction(3, 2)],
        4 * [Fraction(3, 4)],
        [Fraction(3)],
    ]


def test_a_slash_alone_holds_one_beat_more() -> None:
    assert played(parse_text_chart("| C / / F | G |")) == [
        (1, Fraction(1), Fraction(3), "C"),
        (1, Fraction(4), Fraction(1), "F"),
        (2, Fraction(1), FOUR, "G"),
    ]


def test_steps_of_a_repeat_keep_their_measure() -> None:
    assert [s.measure for s in unroll(parse_text_chart("| G |: C |1. F :|2. G | Am |"))] == [
        1, 2, 3, 2, 4, 5,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "want"),
    [
        ("key: Eb\nmeter: 3/4\ntitle: Late Checkout\n| C |", ((3, 4), "Eb", "Late Checkout")),
        ("\n\nTitle:  Lift: Going Up \n\n  KEY : C minor\n C", ((4, 4), "Cm", "Lift: Going Up")),
        ("meter: 12/8\r\nkey: F♯m\r\n| C |", ((12, 8), "F#m", None)),
        ("| C |", ((4, 4), None, None)),
    ],
)
def test_headings(text: str, want: tuple[tuple[int, int], str | None, str | None]) -> None:
    chart = parse_text_chart(text)
    assert (chart.meter, chart.key, chart.title) == want


# code, text, position, what the detail says
REFUSED_TEXTS = [
    ("chart-unreadable", "", 0, "empty"),
    ("chart-unreadable", " \n\n", 3, "empty"),
    ("chart-unreadable", "|", 1, "empty"),
    ("chart-unreadable", "key: C\n", 7, "empty"),
    ("chart-unreadable", "| C | | F |", 6, "measure is empty"),
    ("chart-unreadable", "|: | C :|", 3, "measure is empty"),
    ("chart-unreadable", "| % | C |", 2, "no measure comes before"),
    ("chart-unreadable", "| C | % F |", 6, "must stand alone"),
    ("chart-unreadable", "| / C / / |", 2, "no symbol comes before"),
    ("chart-unreadable", "|: C | F |", 0, "not closed"),
    ("chart-unreadable", "| C | F :|", 8, "not opened"),
    ("chart-unreadable", "|: C |: F :|", 0, "not closed"),
    ("chart-unreadable", "|: C :| F :|", 10, "not opened"),
    ("chart-unreadable", "|: C :| :|", 8, "repeat is empty"),
    ("chart-unreadable", ":| C |", 0, "repeat is empty"),
    ("chart-unreadable", "| C |:", 4, "no measure follows"),
    ("chart-unreadable", "| C |1. F |", 4, "outside a repeat"),
    ("chart-unreadable", "|: C :|2. F |", 5, "outside a repeat"),
    ("chart-unreadable", "|: C |1. F :| G |", 5, "second ending is missing"),
    ("chart-unreadable", "|: C |1. F |2. G |", 11, "does not close"),
    ("chart-unreadable", "|: C |2. F :|1. G |", 5, "is missing"),
    ("chart-unreadable", "|: C |1. F :|3. G |", 11, "is missing"),
    ("chart-unreadable", "|: C |1.,2. F | G |", 5, "does not close"),
    ("chart-unreadable", "|: C |1.,2. F |: G :|", 5, "does not close"),
    ("chart-unreadable", "|: C |2.,1. F :|", 6, "not ascending"),
    ("chart-unreadable", "|:1. C :|2. D |", 0, "no measure comes before"),
    ("chart-unreadable", "tempo: 120\n| C |", 0, "not a header"),
    ("chart-unreadable", "key: C\nkey: F\n| C |", 7, "twice"),
    ("chart-unreadable", "key: H\n| C |", 5, "not a valid key"),
    ("chart-unreadable", "key:\n| C |", 4, "not a valid key"),
    ("chart-unreadable", "meter: 4/3\n| C |", 7, "not a valid meter"),
    ("chart-unreadable", "meter: 33/4\n| C |", 7, "not a valid meter"),
    ("chart-unreadable", "title:   \n| C |", 9, "not a valid title"),
    ("symbol-unreadable", "| C | Hm7 |", 6, ""),
    ("symbol-unreadable", "key: C\n| C // |", 11, ""),
    ("symbol-unreadable", "|: C |1 F :|", 6, ""),
    ("measures-needed", "Dm7 G7 Cmaj7", 0, "3 chords without bar lines"),
    ("measures-needed", "\nDm7\nG7", 1, "2 chords without bar lines"),
    ("measures-needed", "| C |\n[B]\nDm7 G7\n| F |", 10, "2 chords without bar lines"),
    ("chart-unreadable", "measure_each: bar\nC", 14, "not a valid measure_each"),
    ("chart-unreadable", "| C [B] | F |", 4, "begins within a measure"),
    ("chart-unreadable", "[Am]Hello [G7]there", 4, "chords over lyrics"),
    ("chart-unreadable", "|: C | F | x2", 11, "repeats nothing here"),
    ("chart-unreadable", "|: C :|\nx2", 8, "repeats nothing here"),
    ("chart-unreadable", "|: C :| x2 x3", 11, "repeats nothing here"),
    ("chart-unreadable", "|: C :| x1", 8, "twice or more"),
    ("chart-unreadable", "|: C |1. F :|2. G :| x3", 21, "endings say how often"),
    ("beats-do-not-fit", "measure_each: symbol\nC /", 23, "1 beat; its meter has 4 beats"),
    ("beats-do-not-fit", "| C / / |", 6, "3 beats; its meter has 4 beats"),
    ("beats-do-not-fit", "| C / / / / |", 10, "5 beats; its meter has 4 beats"),
    ("beats-do-not-fit", "| " + "C " * 388 + "|", 2, "388 symbols"),
]


@each_row("code, text, position, says", REFUSED_TEXTS)
def test_refuses_a_text(code: str, text: str, position: int, says: str) -> None:
    with pytest.raises(ShortwayError) as caught:
        parse_text_chart(text)
    (fault,) = caught.value.faults
    assert (caught.value.code, fault.pointer, fault.position) == (code, "", position)
    assert says in fault.detail
    assert fault.expected


@pytest.mark.parametrize(
    "text",
    [
        "| C " * (MAX_STEPS + 1),
        "C " * (MAX_STEPS + 1),
        "|: " + "| C ".join(["C "] * (MAX_STEPS // 2 + 1)) + ":|",
        "| C F G A | " + "% | " * MAX_STEPS,
        "| C F " + "| % " * (MAX_STEPS // 2),
        "|: C |1-98. F :|" + "|: C |1-98. F :|" * 30,
        "|: " + "C | " * 98 + "C :| x99",
        "[A] " * (MAX_STEPS + 1),
    ],
)
def test_refuses_more_steps_than_the_limit(text: str) -> None:
    with pytest.raises(TooLarge, match=r"4,096"):
        parse_text_chart(text)


def test_takes_as_many_steps_as_the_limit() -> None:
    text = "|: " + "C | " * (MAX_STEPS // 2 - 1) + "C :|"
    assert len(unroll(parse_text_chart(text))) == MAX_STEPS


# --- the JSON form ----------------------------------------------------------------------------


def chart_of(*measures: list[tuple[str, Any]], **fields: Any) -> dict[str, Any]:
    return fields | {"measures": [[{"symbol": s, "beats": b} for s, b in m] for m in measures]}


def test_beats_are_the_nearest_fraction() -> None:
    chart = parse_json_chart(chart_of([("C", 1.3333), ("F", 1.3333), ("G", 1.3333)]))
    assert [entry.beats for entry in chart.measures[0]] == 3 * [Fraction(4, 3)]


def test_beats_missing_from_a_whole_measure_are_shared() -> None:
    chart = parse_json_chart({"meter": "3/4", "measures": [[{"symbol": "C"}, {"symbol": "F"}]]})
    assert [entry.beats for entry in chart.measures[0]] == 2 * [Fraction(3, 2)]


def test_first_and_last_measure_may_be_short() -> None:
    chart = parse_json_chart(chart_of([("G7", 1)], [("C", 4)], [("F", 3)]))
    assert [step.beats for step in unroll(chart)] == [1, 4, 3]


def test_an_order_plays_measures_again() -> None:
    chart = parse_json_chart(chart_of([("C", 4)], [("F", 2), ("G", 2)], order=[1, 2, 1]))
    assert [(s.measure, s.symbol) for s in unroll(chart)] == [
        (1, "C"), (2, "F"), (2, "G"), (1, "C"),
    ]  # fmt: skip


def test_chords_that_charts_share_begin_where_they_stand_in_each() -> None:
    measure = [{"symbol": "C7", "beats": 1.5}, {"symbol": "F7", "beats": 1.5}]
    for unit, quarters in (8, "3/4"), (4, "3/2"), (2, "3"), (8, "3/4"):  # a beat is 4/unit quarters
        chart = parse_json_chart({"meter": f"3/{unit}", "measures": [measure, measure[::-1]]})
        length = Fraction(quarters)
        steps = unroll(chart)
        assert [step.onset for step in steps] == [0, length, 2 * length, 3 * length]
        assert [step.beat for step in steps] == 2 * [1, Fraction(5, 2)]
        assert {(step.share, step.meter) for step in steps} == {(0.5, (3, unit))}
        assert [step.symbol for step in steps] == ["C7", "F7", "F7", "C7"]


def test_what_holds_over_a_chord_reads_back() -> None:
    over = {"melody": ["E5", "Fb5"], "ceiling": "C5", "top": "G5", "colours": ["b9", "b13", "b9"]}
    value = {"measures": [[{"symbol": "G7", "beats": 4} | over, {"symbol": "C", "beats": 4}]],
             "meter": "8/8"}  # fmt: skip
    chart = parse_json_chart(value)
    entry, plain = chart.measures[0]
    assert (entry.melody, entry.ceiling, entry.top) == ((76, 76), 72, 79)
    assert entry.colours == ("b9", "b13")
    assert (plain.melody, plain.ceiling, plain.top, plain.colours) == ((), None, None, None)
    assert parse_json_chart(chart_json(chart)) == chart
    assert [step.melody for step in unroll(chart)] == [(76, 76), ()]


def test_colours_that_are_none_are_not_colours_left_open() -> None:
    (step,) = unroll(parse_json_chart({"measures": [[{"symbol": "G7", "colours": []}]]}))
    assert step.colours == ()
    assert chart_json(parse_json_chart({"measures": [[{"symbol": "G7", "colours": []}]]}))[
        "measures"
    ] == [[{"symbol": "G7", "beats": 4, "colours": []}]]


def test_meters_and_keys_change_from_a_measure_on() -> None:
    value = chart_of([("C", 4)], [("F", 3)], [("F", 3)], [("G", 4)], key="C",
                     meters=[{"measure": 2, "meter": "3/4"}, {"measure": 4, "meter": "4/4"}],
                     keys=[{"measure": 3, "key": "F major"}])  # fmt: skip
    chart = parse_json_chart(value)
    assert [chart.meter_at(n) for n in range(1, 5)] == [(4, 4), (3, 4), (3, 4), (4, 4)]
    assert [chart.key_at(n) for n in range(1, 5)] == ["C", "C", "F", "F"]
    assert parse_json_chart(chart_json(chart)) == chart


def test_a_text_cannot_say_a_change_of_meter() -> None:
    value = chart_of([("C", 4)], [("F", 3)], meters=[{"measure": 2, "meter": "3/4"}])
    with pytest.raises(ChartError):
        chart_text(parse_json_chart(value))


ONE = [[{"symbol": "C", "beats": 4}]]


def over(**fields: Any) -> dict[str, Any]:
    return {"measures": [[{"symbol": "C"} | fields]]}


REFUSED_VALUES: list[tuple[str, Any, str]] = [
    ("chart-unreadable", {}, "/measures"),
    ("wrong-type", {"measures": "| C |"}, "/measures"),
    ("chart-unreadable", {"measures": []}, "/measures"),
    ("chart-unreadable", {"measures": [[]]}, "/measures/0"),
    ("wrong-type", {"measures": [{}]}, "/measures/0"),
    ("wrong-type", {"measures": [["C"]]}, "/measures/0/0"),
    ("chart-unreadable", {"measures": [[{}]]}, "/measures/0/0/symbol"),
    ("wrong-type", {"measures": [[{"symbol": None}]]}, "/measures/0/0/symbol"),
    ("symbol-unreadable", {"measures": [[{"symbol": "Hm"}]]}, "/measures/0/0/symbol"),
    ("wrong-type", chart_of([("C", "4")]), "/measures/0/0/beats"),
    ("wrong-type", chart_of([("C", True)]), "/measures/0/0/beats"),
    ("wrong-type", chart_of([("C", None)]), "/measures/0/0/beats"),
    ("out-of-range", chart_of([("C", math.nan)]), "/measures/0/0/beats"),
    ("out-of-range", chart_of([("C", math.inf)]), "/measures/0/0/beats"),
    ("out-of-range", chart_of([("C", 0)]), "/measures/0/0/beats"),
    ("out-of-range", chart_of([("C", -4)]), "/measures/0/0/beats"),
    ("out-of-range", chart_of([("C", 1e-9)]), "/measures/0/0/beats"),
    ("beats-do-not-fit", chart_of([("C", 5)]), "/measures/0"),
    ("beats-do-not-fit", chart_of([("C", 10**4000)]), "/measures/0"),
    ("beats-do-not-fit", chart_of([("C", 4)], [("F", 3)], [("G", 4)]), "/measures/1"),
    ("chart-unreadable", {"measures": [[{"symbol": "C"}, {"symbol": "F", "beats": 2}]]},
     "/measures/0/0"),
    ("unknown-field", {"measures": ONE, "tempo": 120}, "/tempo"),
    ("unknown-field", {"measures": ONE, "a/b~": 1}, "/a~1b~0"),
    ("unknown-field", {"measures": [[{"symbol": "C", "beat": 4}]]}, "/measures/0/0/beat"),
    ("wrong-type", {"measures": ONE, "meter": [4, 4]}, "/meter"),
    ("chart-unreadable", {"measures": ONE, "meter": "4"}, "/meter"),
    ("chart-unreadable", {"measures": ONE, "key": "Q"}, "/key"),
    ("wrong-type", {"measures": ONE, "title": None}, "/title"),
    ("chart-unreadable", {"measures": ONE, "title": "a\nb"}, "/title"),
    ("wrong-type", {"measures": ONE, "order": "1"}, "/order"),
    ("wrong-type", {"measures": ONE, "order": [True]}, "/order/0"),
    ("wrong-type", {"measures": ONE, "order": [1, 1.0]}, "/order/1"),
    ("out-of-range", {"measures": ONE, "order": [1, 2]}, "/order/1"),
    ("out-of-range", {"measures": ONE, "order": [0]}, "/order/0"),
    ("out-of-range", {"measures": ONE, "order": []}, "/order"),
    ("wrong-type", over(melody="E5"), "/measures/0/0/melody"),
    ("wrong-type", over(melody=[1.5]), "/measures/0/0/melody/0"),
    ("wrong-type", over(melody=[True]), "/measures/0/0/melody/0"),
    ("out-of-range", over(melody=["C4", "C11"]), "/measures/0/0/melody/1"),
    ("out-of-range", over(melody=["E5"] * 129), "/measures/0/0/melody"),
    ("out-of-range", over(ceiling="H5"), "/measures/0/0/ceiling"),
    ("wrong-type", over(top=None), "/measures/0/0/top"),
    ("out-of-range", over(colours=["9", "b10"]), "/measures/0/0/colours/1"),
    ("wrong-type", over(colours=[9]), "/measures/0/0/colours/0"),
    ("wrong-type", over(colours="9"), "/measures/0/0/colours"),
    ("wrong-type", {"measures": ONE * 2, "meters": {}}, "/meters"),
    ("wrong-type", {"measures": ONE * 2, "meters": ["3/4"]}, "/meters/0"),
    ("chart-unreadable", {"measures": ONE * 2, "meters": [{"meter": "3/4"}]}, "/meters/0/measure"),
    ("chart-unreadable", {"measures": ONE * 2, "meters": [{"measure": 2}]}, "/meters/0/meter"),
    ("out-of-range", {"measures": ONE * 2, "meters": [{"measure": 1, "meter": "3/4"}]},
     "/meters/0/measure"),
    ("out-of-range", {"measures": ONE * 2, "keys": [{"measure": 3, "key": "C"}]},
     "/keys/0/measure"),
    ("out-of-range", {"measures": ONE * 3, "keys": 2 * [{"measure": 2, "key": "C"}]},
     "/keys/1/measure"),
    ("chart-unreadable", {"measures": ONE * 2, "keys": [{"measure": 2, "key": "Q"}]},
     "/keys/0/key"),
    ("unknown-field", {"measures": ONE * 2, "keys": [{"measure": 2, "key": "C", "x": 1}]},
     "/keys/0/x"),
    ("beats-do-not-fit", chart_of([("C", 4)], [("F", 4)], [("F", 4)],
                                  meters=[{"measure": 2, "meter": "3/4"}]), "/measures/1"),
    ("wrong-type", {"measures": ONE, "fresh": 1}, "/fresh"),
    ("wrong-type", {"measures": ONE, "fresh": ["1"]}, "/fresh/0"),
    ("out-of-range", {"measures": ONE, "fresh": [2]}, "/fresh/0"),
    ("out-of-range", {"measures": ONE * 2, "fresh": [2, 1]}, "/fresh/1"),
    ("out-of-range", {"measures": ONE * 2, "fresh": [2, 2]}, "/fresh/1"),
    ("wrong-type", {"measures": ONE, "sections": ["A"]}, "/sections/0"),
    ("chart-unreadable", {"measures": ONE, "sections": [{"measure": 1}]}, "/sections/0/name"),
    ("out-of-range", {"measures": ONE, "sections": [{"measure": 2, "name": "A"}]},
     "/sections/0/measure"),
    ("out-of-range", {"measures": ONE, "sections": 2 * [{"measure": 1, "name": "A"}]},
     "/sections/1/measure"),
    ("search-too-large", {"measures": ONE, "order": [1] * 4097}, "/order"),
    ("search-too-large", {"measures": ONE * 4097}, "/measures"),
]  # fmt: skip


@each_row("code, value, pointer", REFUSED_VALUES)
def test_refuses_a_value(code: str, value: Any, pointer: str) -> None:
    with pytest.raises(ShortwayError) as caught:
        parse_json_chart(value)
    (fault,) = caught.value.faults
    assert (caught.value.code, fault.pointer) == (code, pointer)
    assert fault.detail
    assert fault.expected


def test_overfull_measure_says_how_many_fit() -> None:
    with pytest.raises(BeatsError, match="measure 1 has 4 1/2 beats; its meter has 4 beats"):
        parse_json_chart(chart_of([("C", 4), ("F", 0.5)]))


@pytest.mark.parametrize("value", [None, 4, ["| C |"], b"| C |"])
def test_a_chart_is_a_text_or_an_object(value: object) -> None:
    with pytest.raises(WrongType):
        parse_chart(value)


# --- laws -------------------------------------------------------------------------------------

SYMBOLS = st.sampled_from(["C", "Eb7", "F#m7", "N.C.", "Bbmaj7", "Am7"])


@st.composite
def measures(draw: st.DrawFn) -> str:
    """The inside of a measure of four beats."""
    if draw(st.booleans()):
        return " ".join(draw(st.lists(SYMBOLS, min_size=1, max_size=4)))
    rest = st.one_of(SYMBOLS, st.just("/"))
    return " ".join([draw(SYMBOLS), *draw(st.lists(rest, min_size=3, max_size=3))])


@st.composite
def text_charts(draw: st.DrawFn) -> str:
    """Sections, plain, repeated, or repeated with endings."""
    some = st.lists(measures(), min_size=1, max_size=3).map(" | ".join)
    parts = []
    for _ in range(draw(st.integers(1, 3))):
        kind, a, b, c = draw(st.integers(0, 2)), draw(some), draw(some), draw(some)
        thrice = draw(st.sampled_from(["", " x3"]))
        parts.append((f"| {a} |", f"|: {a} :|{thrice}", f"|: {a} |1. {b} :|2. {c} |")[kind])
    return "\n".join(parts)


@each_row(
    "value, places, reading",
    [
        ("| Do7 | Re |", [2, 8], "Ddim7"),
        ("| Sol7 | C / Do / |", [2, 13], "Ddim"),
        ("| Mi | F | Do9 |", [11, 2], "Ddim9"),
        (
            chart_of([("Sol", 4)], [("Do7", 4)]),
            ["/measures/1/0/symbol", "/measures/0/0/symbol"],
            "Ddim7",
        ),
    ],
)  # fmt: skip
def test_solfege_is_rejected_with_what_was_read(
    value: Any, places: list[Any], reading: str
) -> None:
    """``Do7`` alone is D diminished, as common practice spells it (no source)."""
    with pytest.raises(SymbolError, match=f"would be read as {reading};") as caught:
        parse_chart(value)
    where = [f.pointer or f.position for f in caught.value.faults]
    assert sorted(map(str, where)) == sorted(map(str, places))


def test_do_alone_is_d_diminished() -> None:
    assert [e.chord.name for (e,) in parse_text_chart("| Do7 | G7 |").measures] == ["Ddim7", "G7"]


def test_a_repeat_played_thrice_is_written_so() -> None:
    text = charts.chart_text(parse_text_chart("|: C | F :| x3 | G |: Am :| x4"))
    assert text == "meter: 4/4\n|: C | F :| x3 | G |: Am :| x4\n"


@given(text_charts())
def test_json_form_reads_back(text: str) -> None:
    chart = parse_text_chart(text)
    assert parse_json_chart(charts.chart_json(chart)) == chart


@given(text_charts())
def test_text_form_reads_back(text: str) -> None:
    chart = parse_text_chart(text)
    assert parse_text_chart(charts.chart_text(chart)) == chart


@given(text_charts())
def test_steps_fill_their_measures(text: str) -> None:
    chart = parse_text_chart(text)
    steps = unroll(chart)
    assert sum(step.beats for step in steps) == 4 * len(chart.order)
    assert [s.measure for s in steps if s.beat == 1] == list(chart.order)


@given(st.text(alphabet="|:%/ \nC1.2,-Gm7(b)#x[]", max_size=40))
def test_any_text_is_read_or_refused_at_a_position(text: str) -> None:
    try:
        assert unroll(parse_text_chart(text))
    except ShortwayError as error:
        position = error.faults[0].position
        assert position is None or 0 <= position <= len(text)


def test_writes_headings_and_repeats() -> None:
    text = "title: Lobby\nkey: Eb\nmeter: 3/4\n|: Eb7 | Ab7 / Bb7 | % |1. Eb7 :|\n|2. Eb7 Bb7 |\n"
    assert charts.chart_text(parse_text_chart(text)) == text


def test_sections_are_read_and_written_with_their_measures() -> None:
    text = "meter: 4/4\n[A] |: Dm7 | G7 |1. C :|\n|2. C |\n[B, twice as slow] |: F | C :| x3 |\n"
    chart = parse_text_chart(text)
    assert chart.sections == ((1, "A"), (5, "B, twice as slow"))
    assert parse_text_chart(charts.chart_text(chart)) == chart
    assert parse_json_chart(chart_json(chart)) == chart
    assert parse_text_chart("[Intro]\n[A] | C | [ ] | F |").sections == ((1, "Intro A"),)


@pytest.mark.parametrize(
    "value",
    [
        chart_of([("G7", 1)], [("C", 4)]),
        chart_of([("C", 2.5), ("F", 1.5)]),
        chart_of([("C", 4)], [("F", 4)], order=[2, 1]),
        chart_of([("C", 4)], [("F", 4)], order=[1, 2, 1, 1]),
    ],
)
def test_says_where_only_json_will_do(value: Any) -> None:
    with pytest.raises(ChartError):
        charts.chart_text(parse_json_chart(value))
