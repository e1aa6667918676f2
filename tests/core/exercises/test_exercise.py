"""Exercises: keys, their one chart, joins, what is refused. Ways: common practice, no source."""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortway.core import charts
from shortway.core.errors import (
    BeatsError,
    ChartError,
    NoVoicing,
    SettingError,
    ShortwayError,
    TooLarge,
    WrongType,
)
from shortway.core.exercises.exercise import Exercise, exercise
from shortway.core.exercises.key_orders import KEY_ORDERS
from shortway.core.solver.solve import solve
from shortway.core.theory.pitch import pitch_class
from support.charts import charts as some_charts
from support.tables import each_row

CADENCE = "key: Eb\n| Fm7 | Bb7 | Ebmaj7 |"
MINOR = "key: Gm\n|: Gm6 | Cm6 :| Am7b5 D7 | Gm6 |"
PICKUP: dict[str, Any] = {
    "key": "F",
    "meter": "3/4",
    "measures": [
        [{"symbol": "C7", "beats": 1}],
        [{"symbol": "Fmaj7"}],
        [{"symbol": "Gm7"}, {"symbol": "C7"}],
        [{"symbol": "F6", "beats": 1.5}],
    ],
}
LEFT = {"hands": "left"}


def tonics(found: Exercise) -> list[int]:
    return [pitch_class(one.key.removesuffix("m")) for one in found.sections]


# --- ways -----------------------------------------------------------------------------------------

ORDERS = {
    "fourths": "Eb Ab Db Gb B E A D G C F Bb",
    "fifths": "Eb Bb F C G D A E B Gb Db Ab",
    "half-steps-up": "Eb E F Gb G Ab A Bb B C Db D",
    "half-steps-down": "Eb D Db C B Bb A Ab G Gb F E",
    "whole-steps-up": "Eb F G A B Db E Gb Ab Bb C D",
    "whole-steps-down": "Eb Db B A G F D C Bb Ab Gb E",
    "minor-thirds-up": "Eb Gb A C E G Bb Db F Ab B D",
    "minor-thirds-down": "Eb C A Gb D B Ab F Db Bb G E",
}


@pytest.mark.parametrize("way", KEY_ORDERS)
def test_every_key_comes_once_in_its_order(way: str) -> None:
    found = exercise("key: Eb\n| Eb6 |", way, LEFT)
    assert [one.key for one in found.sections] == ORDERS[way].split()
    assert sorted(tonics(found)) == list(range(12))


@pytest.mark.parametrize("way", KEY_ORDERS)
def test_a_minor_chart_goes_through_minor_keys(way: str) -> None:
    found = exercise(MINOR, way, LEFT)
    assert all(one.key.endswith("m") for one in found.sections)
    assert sorted(tonics(found)) == list(range(12))


def test_a_list_names_tonics_in_any_spelling_and_a_key_may_come_again() -> None:
    given = ["C", "C minor", "D#", "C"]
    found = exercise("key: Gm\n| Gm6 |", None, LEFT, keys=given)
    assert (found.key_order, found.keys) == (None, ("Cm", "Cm", "D#m", "Cm"))
    assert [one.semitones for one in found.sections] == [5, 5, -4, 5]


def test_an_order_and_a_list_are_not_given_together() -> None:
    with pytest.raises(SettingError, match="an order of keys is given, and keys"):
        exercise(CADENCE, "fourths", keys=["C"])


def test_the_own_key_keeps_a_name_that_is_as_good_and_no_worse_one() -> None:
    names = [
        exercise(f"key: {key}\n| {key}6 |").sections[0].key for key in ("F#", "Gb", "C#", "Cb")
    ]
    assert names == ["F#", "Gb", "Db", "B"]


# --- one chart ------------------------------------------------------------------------------------


def test_the_whole_is_the_fragment_in_each_key_repeats_written_out() -> None:
    found = exercise(MINOR, "half-steps-down", LEFT)
    symbols = [step.step.symbol for step in found.path.steps]
    assert symbols[:7] == ["Gm6", "Cm6", "Gm6", "Cm6", "Am7b5", "D7", "Gm6"]
    assert symbols[7:14] == ["F#m6", "Bm6", "F#m6", "Bm6", "G#m7b5", "C#7", "F#m6"]
    assert [(one.measure, one.step, one.steps) for one in found.sections] == [
        (1 + 6 * at, 7 * at, 7) for at in range(12)
    ]
    assert found.chart.key == "Gm"
    assert found.chart.keys[:2] == ((7, "F#m"), (13, "Fm"))
    assert found.chart.sections[:3] == ((1, "Gm"), (7, "F#m"), (13, "Fm"))


def test_a_pickup_between_keys_is_a_measure_of_its_own() -> None:
    found = exercise(PICKUP, keys=["F", "Bb"])
    assert found.chart.meter == (3, 4)
    assert found.chart.meters == ((4, (3, 8)), (5, (1, 4)), (6, (3, 4)))
    lengths = [sum(entry.beats for entry in measure) for measure in found.chart.measures]
    assert lengths == [1, 3, 3, 3, 1, 3, 3, Fraction(3, 2)]


def test_a_chart_with_keys_of_its_own_changes_them_everywhere() -> None:
    given = {
        "key": "C",
        "measures": [[{"symbol": s}] for s in ("Cmaj7", "Ebm7", "Ab7", "Dbmaj7")],
        "keys": [{"measure": 2, "key": "Db"}],
    }
    found = exercise(given, keys=["C", "Bb"])
    assert found.chart.keys == ((2, "Db"), (5, "Bb"), (6, "B"))
    assert [s.step.symbol for s in found.path.steps[4:]] == ["Bbmaj7", "C#m7", "F#7", "Bmaj7"]


def test_keys_of_its_own_keep_their_names_where_nothing_moves() -> None:
    given = {
        "key": "B",
        "measures": [[{"symbol": "B6"}], [{"symbol": "A#m7"}]],
        "keys": [{"measure": 2, "key": "F#"}],
    }
    found = exercise(given, keys=["B", "Bb"])
    assert found.chart.keys == ((2, "F#"), (3, "Bb"), (4, "F"))
    assert [s.step.symbol for s in found.path.steps] == ["B6", "A#m7", "Bb6", "Am7"]


def test_what_holds_over_a_chord_moves_by_the_same_semitones() -> None:
    entry = {"symbol": "C6", "melody": ["E5"], "ceiling": "D5", "top": "C5", "colours": ["9"]}
    setting = {"families": ["any-playable"], "notes": 4}
    found = exercise({"key": "C", "measures": [[entry]]}, None, setting, keys=["C", "Gb", "G"])
    moved = [step.step for step in found.path.steps]
    assert [(s.melody, s.ceiling, s.top, s.colours) for s in moved] == [
        ((76 + by,), 74 + by, 72 + by, ("9",)) for by in (0, 6, -5)
    ]


@pytest.mark.parametrize("chart", [CADENCE, MINOR, PICKUP], ids=["cadence", "minor", "pickup"])
@pytest.mark.parametrize("loop", [False, True])
def test_its_chart_alone_has_the_same_path(chart: Any, loop: bool) -> None:
    found = exercise(chart, "whole-steps-down", LEFT, formula="best", loop=loop)
    again = charts.parse_chart(charts.chart_json(found.chart))
    assert again == found.chart
    assert solve(again, LEFT, loop=loop) == found.path


# --- what is heard --------------------------------------------------------------------------------

HEARD = [
    "| Dm7 | G7 |",
    "| Cm7 |",
    "| C7 |",
    "| Cmaj7 A7 | Dm7 G7 |",
    "| Dm7b5 | G7 | Cm6 | A7 |",
    "| Cmaj7 | Fm7 Bb7 | Cmaj7 | C#dim7 |",
    "| C7 | F7 | C7 | Gm7 C7 | F7 | F#dim7 | C7 | A7 | Dm7 | G7 | C7 | Db7 |",
]


@each_row("text, way, loop", product(HEARD, KEY_ORDERS, [False, True]), sample=20)
def test_each_key_is_heard_as_the_fragment_alone(text: str, way: str, loop: bool) -> None:
    found = exercise(text, way, LEFT, loop=loop)
    alone = solve(f"key: {found.key}\n{text}", LEFT)
    want = [step.context and (step.context.function, step.context.colours) for step in alone.steps]
    for one in found.sections:
        steps = found.path.steps[one.step : one.step + one.steps]
        assert [s.context and (s.context.function, s.context.colours) for s in steps] == want


def test_without_a_fresh_beginning_the_joins_would_mislead() -> None:
    """So that the test above could fail: a five at the end would fall to the next key's two."""
    found = exercise("| Dm7 | G7 |", "whole-steps-down", LEFT, formula="best")
    given = {k: v for k, v in charts.chart_json(found.chart).items() if k != "fresh"}
    contexts = [solve(of, LEFT).steps[1].context for of in (found.chart, given)]
    assert [context and context.colours for context in contexts] == [
        ("9", "13"), ("b9", "#9", "b13"),
    ]  # fmt: skip


@given(
    some_charts(),
    st.sampled_from(sorted(KEY_ORDERS)),
    st.sampled_from(["C", "Db", "E", "Gm", "F#m"]),
)
def test_any_chart_means_the_same_in_every_key(text: str, way: str, key: str) -> None:
    setting = {"families": ["any-playable"], "notes": 3, "tensions": "in-context"}
    found = exercise(f"key: {key}\n{text}", way, setting)
    first, *others = found.sections
    whole = found.path.steps
    for one in others:
        for k in range(one.steps):
            here, there = whole[first.step + k], whole[one.step + k]
            assert here.step.chord.content == there.step.chord.content
            if here.step.chord.root_pc is None:
                continue
            assert there.step.chord.root_pc == (here.step.chord.root_pc + one.semitones) % 12
            heard = [(s.context.function, s.context.colours) for s in (here, there) if s.context]
            assert heard[0] == heard[1]


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("| Dm7 | G7 |", "C"),
        ("| Dm7b5 | G7 | Cm6 |", "Cm"),
        ("| Cm7 F7 | Bbmaj7 | Am7b5 D7 | Gm6 | % | % | % |", "Gm"),
        ("| F#maj7 | G#m7 C#7 |", "F#"),
        ("| C7 | F7 | C7 | G7 |", "C"),
        ("| Bbm7b5 | Eb7b9 |", "Abm"),
        ("| A#m7b5 | D#7b9 |", "G#m"),
        ("| Abm7 | Db7 |", "Gb"),
    ],
)
def test_a_key_that_is_not_named_is_read_off_the_chords(text: str, key: str) -> None:
    found = exercise(text, None, LEFT, keys=["C"])
    assert (found.key, found.inferred) == (key, True)


def test_a_two_five_without_its_one_is_spelled_by_its_own_key() -> None:
    """Common practice, no source."""
    found = exercise("| Ebm7b5 | Ab7b9 |", None, LEFT, keys=["B", "E", "F"])
    symbols = [entry.symbol for measure in found.chart.measures for entry in measure]
    assert symbols == ["C#m7b5", "F#7b9", "F#m7b5", "B7b9", "Gm7b5", "C7b9"]


def test_a_key_that_is_named_holds() -> None:
    found = exercise("key: F\n| Dm7 | G7 |", None, LEFT, keys=["F"])
    assert (found.key, found.inferred) == ("F", False)


# --- joins ----------------------------------------------------------------------------------------


def test_joins_are_the_motion_into_the_first_chord_of_a_key() -> None:
    found = exercise(CADENCE, "fourths", LEFT, loop=True)
    assert [one.motion for one in found.sections] == [s.motion for s in found.path.steps[::3]]
    assert found.sections[0].motion == found.path.loop_motion


def test_a_join_passes_over_silence() -> None:
    found = exercise("key: C\n| N.C. | C6 |", None, LEFT, keys=["C", "G"])
    assert [one.motion for one in found.sections] == [0, found.path.steps[3].motion]


def test_silence_alone_has_no_join() -> None:
    assert [one.motion for one in exercise("key: C\n| N.C. |").sections] == [None] * 12


# --- what is refused ------------------------------------------------------------------------------

HIGH = {"key": "C", "measures": [[{"symbol": "C6", "melody": ["F9"]}]]}
LOW = {"key": "C", "measures": [[{"symbol": "C6"}, {"symbol": "C6", "top": "C-1"}]]}
UNEVEN = {"key": "C", "measures": [[{"symbol": "C6", "beats": 0.3333}], [{"symbol": "G7"}]]}
BELOW = {
    "key": "C",
    "measures": [[{"symbol": "G7"}], [{"symbol": "C6", "ceiling": "F4"}]],
    "order": [2, 1, 2],
}

REFUSED: list[tuple[Any, Any, Any, type[ShortwayError], str, str]] = [
    (CADENCE, "sixths", None, SettingError, "/key_order", "'sixths' is not a valid key_order"),
    (CADENCE, 7, None, WrongType, "/key_order", "must be fourths"),
    (CADENCE, [], None, SettingError, "/keys", "a list of 0 keys"),
    (CADENCE, ["C"] * 25, None, SettingError, "/keys", "a list of 25 keys"),
    (CADENCE, {"C"}, None, WrongType, "/keys", "a list of keys"),
    (CADENCE, ["C", 7], None, WrongType, "/keys/1", "expected a string"),
    (CADENCE, ["C", "H"], None, SettingError, "/keys/1", "cannot read 'H' as a key"),
    (CADENCE, ["Cm"], None, SettingError, "/keys/0", "the chart is in major, and Cm is minor"),
    (MINOR, ["C", "A major"], None, SettingError, "/keys/1", "in minor, and A major is major"),
    ("| N.C. |", "fourths", None, ChartError, "/chart", "no key and no chord"),
    (HIGH, ["Eb"], None, SettingError, "/chart/measures/0/0/melody/0", "moved 3 semitones up"),
    (LOW, ["B"], None, SettingError, "/chart/measures/0/1/top", "moved 1 semitone down"),
    (UNEVEN, ["C", "G"], None, BeatsError, "/chart/measures/0", "measure 1 has 1/3 beats"),
    (BELOW, ["C", "Eb", "Ab"], LEFT, NoVoicing, "/chart/measures/1/0/ceiling", "in Ab, step 6"),
    ("| C |" + " % |" * 342, "fourths", None, TooLarge, "/chart", "4,116 chords .* 4,096"),
]  # fmt: skip


@each_row("chart, way, setting, kind, pointer, detail", REFUSED)
def test_what_cannot_be_is_refused_where_it_stands(
    chart: Any, way: Any, setting: Any, kind: type[ShortwayError], pointer: str, detail: str
) -> None:
    order = {"key_order" if isinstance(way, str | int) else "keys": way}
    with pytest.raises(kind) as caught:
        exercise(chart, setting=setting, **order)
    assert type(caught.value) is kind
    assert caught.value.faults[0].pointer == pointer
    assert re.search(detail, caught.value.detail), caught.value.detail


def test_the_largest_exercise_is_solved() -> None:
    found = exercise("| C |" + " % |" * 340, "fourths", {"families": ["guide-tone"]})
    assert len(found.path.steps) == 4092
