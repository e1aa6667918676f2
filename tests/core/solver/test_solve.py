"""The one door: laws of paths, and what it refuses."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shortway.core import cache
from shortway.core.errors import (
    BeatsError,
    ChartError,
    NotesNeeded,
    NoVoicing,
    ShortwayError,
    SymbolError,
    TooLarge,
    UnknownField,
)
from shortway.core.settings.prices import MOVE_PRICES
from shortway.core.settings.setting import setting_json
from shortway.core.solver import problem as search
from shortway.core.solver.solve import Path, solve, voicings
from shortway.core.symbols.parser import parse
from shortway.core.voicings import available_tones as tones
from shortway.core.voicings import templates as shapes
from support.charts import ROOTS, SETTINGS, charts, demo_charts, symbols, transposed
from support.plain import pitch
from support.tables import each_row

Given = dict[str, object]


def played(path: Path) -> list[tuple[int, ...] | None]:
    """The notes of every step."""
    return [None if step.voicing is None else step.voicing.midi_notes for step in path.steps]


def name_of(midi: int) -> str:
    """A pitch's name."""
    return f"{ROOTS[midi % 12]}{midi // 12 - 1}"


# --- laws ----------------------------------------------------------------------------------------

LIFTED: tuple[Given, ...] = (
    {"families": ["guide-tone-extended", "fourths", "upper-structure"], "notes": 5},
    {"families": ["guide-tone", "close"], "notes": 4},
    {"families": ["rootless", "rootless-three"], "notes_vary": True, "hands": "left"},
    {"families": ["shell"], "bass_player": False, "hands": "right", "notes": 2},
    {"families": ["spread"], "bass_player": False, "notes": 4},
)


def test_transposing_a_text_is_right() -> None:
    assert transposed("| Bbm7/Eb | N.C. | B |", 3) == "| Dbm7/Gb | N.C. | D |"


@given(charts(6, 2), st.sampled_from(LIFTED), st.integers(1, 11), st.booleans())
def test_transposing_a_chart_transposes_the_path(
    text: str, setting: Given, by: int, loop: bool
) -> None:
    """Where neither reach nor low limits bind, which no transposition leaves alone."""
    free = {**setting, "reach_mm": 400, "low_interval_limits": "off"}

    def at(lift: int) -> Path:
        moved = {"lowest": name_of(48 + lift), "highest": name_of(84 + lift)}
        here = {**free, **moved, "home": name_of(65 + lift)}
        return solve(transposed(text, lift), here, loop=loop)

    below, above = at(0), at(by)
    assert (below.cost, below.loop_motion, below.bass_motion) == (
        above.cost,
        above.loop_motion,
        above.bass_motion,
    )
    for low, high in zip(played(below), played(above), strict=True):
        assert (low is None) == (high is None)
        assert low is None or tuple(n + by for n in low) == high


@given(charts(6, 2), st.booleans(), st.data())
def test_adding_families_never_raises_the_cost(text: str, loop: bool, data: st.DataObject) -> None:
    able = ["guide-tone", "rootless", "close", "drop-2", "drop-3", "fourths", "spread"]
    order = data.draw(st.permutations(able))
    costs = [
        solve(text, {"families": order[:n], "notes": 4}, loop=loop).cost for n in range(1, 8, 2)
    ]
    assert costs == sorted(costs, reverse=True)


@given(charts(7, 2), st.sampled_from(SETTINGS))
def test_a_loop_costs_at_least_what_the_open_path_does(text: str, setting: Given) -> None:
    # round and round a chord may do something else, so colours are those of the symbols; and one
    # that is held over the repeat is paid for once
    written = text.strip("| ").split(" | ")
    assume(written[0] != written[-1] or len(set(written)) == 1)
    setting = {"tensions": "available", **setting}
    try:
        loop = solve(text, setting, loop=True)
    except NoVoicing:
        assume(False)
    path = solve(text, setting)
    assert loop.cost >= path.cost
    assert path.loop_motion is None
    assert loop.loop_motion is not None
    for whole in (loop, path):
        assert whole.motion == sum(step.motion or 0 for step in whole.steps)
        assert whole.cost == sum(step.cost or 0 for step in whole.steps)
        assert whole.cost == whole.motion + sum(item.total for item in whole.price_items)


CHORDS = symbols().filter(lambda symbol: symbol != "N.C.")


def different(least: int, most: int) -> st.SearchStrategy[list[str]]:
    """Chords of which no two are the same."""
    return st.lists(CHORDS, min_size=least, max_size=most, unique_by=lambda s: parse(s).name)


@given(different(2, 6), st.booleans(), st.data())
def test_pins_never_lower_the_cost(chords: list[str], loop: bool, data: st.DataObject) -> None:
    """A pin has a repeated chord struck again, which is paid for again; here none is."""
    text = "| " + " | ".join(chords) + " |"
    path = solve(text, loop=loop)
    sounding = [k for k, step in enumerate(path.steps) if step.voicing]
    assume(sounding)
    k = data.draw(st.sampled_from(sounding))
    context = path.steps[k].context
    colours = context.colours if context else None
    listed = voicings(path.steps[k].step.symbol, path.setting, colours=colours).voicings
    pinned = data.draw(st.sampled_from(listed)).voicing
    pin = {"step": k, "midi_notes": list(pinned.midi_notes), "family": pinned.family}
    assert solve(text, loop=loop, pins=[pin]).cost >= path.cost
    own = path.steps[k].voicing
    assert own is not None
    kept = solve(
        text,
        loop=loop,
        pins=[{"step": k, "midi_notes": list(own.midi_notes), "family": own.family}],
    )
    assert kept.cost == path.cost


@given(different(2, 7), st.sampled_from(SETTINGS), st.data())
def test_the_rest_of_a_best_path_is_the_best_from_there(
    chords: list[str], setting: Given, data: st.DataObject
) -> None:
    """An app that asks bar by bar, and once knew the whole, loses nothing by `start_from`.

    What a chord does may depend on what came before, so colours are those of the symbols; and
    notes that sound name no chord, so no move has a price.
    """
    setting = {"tensions": "available", "prices": dict.fromkeys(MOVE_PRICES, 0), **setting}
    path = solve("| " + " | ".join(chords) + " |", setting)
    k = data.draw(st.integers(1, len(chords) - 1))
    assume(path.steps[k].step.chord != path.steps[k - 1].step.chord)
    before = path.steps[k - 1].voicing
    assert before is not None
    rest = solve("| " + " | ".join(chords[k:]) + " |", setting, start_from=list(before.midi_notes))
    assert rest.motion == sum(step.motion or 0 for step in path.steps[k:])
    assert rest.start_motion == rest.steps[0].motion
    assert played(rest) == played(path)[k:]


@given(charts(8), st.booleans())
def test_hold_keeps_and_change_changes(text: str, loop: bool) -> None:
    written = text.strip("| ").split(" | ")
    hold = played(solve(text, loop=loop))
    try:
        change = played(solve(text, {"repeats": "change"}, loop=loop))
    except NoVoicing:
        heard = solve(text, loop=loop)
        colours = [step.context.colours if step.context else None for step in heard.steps]
        sounds = (
            {r.voicing.midi_notes for r in voicings(chord, heard.setting, colours=added).voicings}
            for chord, added in zip(written, colours, strict=True)
            if chord != "N.C."
        )
        assert min(map(len, sounds)) <= 2
        assume(False)
    pairs = [(k - 1, k) for k in range(0 if loop and len(written) > 1 else 1, len(written))]
    for a, b in pairs:
        if written[a] == written[b] != "N.C.":
            assert hold[a] == hold[b]
            assert change[a] != change[b]


@given(charts(5), st.sampled_from(SETTINGS), st.booleans())
def test_the_resolved_setting_repeats_the_call(text: str, setting: Given, loop: bool) -> None:
    try:
        path = solve(text, setting, loop=loop)
    except NoVoicing:
        assume(False)
    wire = json.loads(json.dumps(setting_json(path.setting)))
    assert solve(text, wire, loop=loop) == path


@given(charts(7), st.sampled_from(SETTINGS), st.booleans())
def test_anyone_can_count_the_search_again(text: str, setting: Given, loop: bool) -> None:
    """Steps that hold make one node; every node has all voicings that are listed."""
    hold = {**setting, "repeats": "hold"}
    path = solve(text, hold, loop=loop)
    written = text.strip("| ").split(" | ")
    added = [step.context.colours if step.context else None for step in path.steps]
    runs = [(s, added[k]) for k, s in enumerate(written) if k == 0 or s != written[k - 1]]
    if loop and len(runs) > 1 and runs[0] == runs[-1] != ("N.C.", None):
        runs.pop()
    plays = path.setting
    counts = [voicings(s, plays, colours=colours).total for s, colours in runs if s != "N.C."]
    seams = list(pairwise(counts))
    seams += [(counts[-1], counts[0])] if loop and len(counts) > 1 else []
    assert path.size.steps == len(written)
    assert path.size.candidates == sum(counts)
    assert path.size.transitions == sum(a * b for a, b in seams)


SCRIPT = """
import sys
from shortway.core.solver.solve import solve
from shortway.page import example_charts
for _, text in example_charts():
    for setting in ({}, {"bass_player": False}, {"hands": "left"}):
        for loop in (False, True):
            path = solve(text, setting, loop=loop)
            for step in path.steps:
                v = step.voicing
                print(v and (v.family, v.form, v.midi_notes, len(v.left)), step.motion, step.remark)
"""


@pytest.mark.slow
def test_the_answer_is_the_same_in_every_process_and_at_every_cache_state() -> None:
    said = [
        subprocess.run(
            [sys.executable, "-c", SCRIPT],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
            timeout=60,
        ).stdout
        for seed in ("0", "4242")
    ]
    assert said[0] == said[1]
    assert said[0].count("\n") > 200
    text = demo_charts()["1-brass-key-blues.txt"]
    warm = [solve(text, setting, loop=loop) for setting in SETTINGS for loop in (False, True)]
    for remembered in (shapes.templates, tones.available_tones):
        remembered.cache_clear()
    for tables in cache._CACHES:
        tables.clear()
    cold = [
        solve(text, setting, loop=loop) for setting in reversed(SETTINGS) for loop in (True, False)
    ]
    assert cold[::-1] == warm


# --- corners -------------------------------------------------------------------------------------


@pytest.mark.parametrize("loop", [False, True])
def test_a_chart_may_begin_and_end_on_one_chord(loop: bool) -> None:
    """Recorded: the first step of an open chart once joined the last one's hold."""
    path = solve("| Fm6 | C7 | Fm6 |", loop=loop)
    assert len(path.steps) == 3
    assert not loop or path.steps[0].voicing == path.steps[2].voicing
    for text in ("| C |", "| C | C |"):
        assert solve(text, loop=loop).motion == 0


def test_motion_is_counted_across_a_rest() -> None:
    silent, straight = solve("| Dm7 | N.C. | G7 |"), solve("| Dm7 | G7 |")
    assert silent.cost == straight.cost
    assert silent.steps[2].motion == straight.steps[1].motion
    rest = silent.steps[1]
    assert (rest.voicing, rest.motion, rest.moves) == (None, None, ())


@pytest.mark.parametrize("loop", [False, True])
def test_nothing_but_rests(loop: bool) -> None:
    path = solve("| N.C. | N.C. |", loop=loop)
    assert (path.cost, path.motion, path.bass_motion, path.largest_leap) == (0, 0, 0, 0)
    assert path.loop_motion == (0 if loop else None)
    assert solve("| N.C. |", start_from=[60]).cost == 0


def test_a_loop_pays_for_its_way_back() -> None:
    text = "| Cmaj7 | F#7 | Cmaj7 | B7 |"
    path = solve(text, loop=True)
    assert path.loop_motion == path.steps[0].motion
    assert path.motion == sum(step.motion or 0 for step in path.steps)
    assert path.steps[0].moves


def test_the_bass_is_counted_apart() -> None:
    path = solve("| C7 | F7 |", {"bass_player": False})
    low = [step.voicing.notes[0] for step in path.steps if step.voicing]
    assert [note.is_bass for note in low] == [True, True]
    assert path.bass_motion == abs(low[0].midi - low[1].midi) > 0
    assert all(move.from_midi != low[0].midi for move in path.steps[1].moves)


def test_notes_that_sound_have_a_bass_where_nobody_else_plays_it() -> None:
    path = solve("| C7 |", {"bass_player": False}, start_from=[43, 53, 57, 59, 64])
    assert path.start_motion is not None
    assert {move.from_midi for move in path.steps[0].moves} == {53, 57, 59, 64}
    assert path.bass_motion == abs(path.steps[0].voicing.midi_notes[0] - 43)  # type: ignore[union-attr]


# --- bad input -----------------------------------------------------------------------------------

REFUSED: list[tuple[dict[str, object], type[ShortwayError], str]] = [
    ({"chart": {"text": ""}}, ChartError, "/chart"),
    ({"chart": {"text": "| C | H7 |"}}, SymbolError, "/chart"),
    ({"chart": {"text": "|: C | F |"}}, ChartError, "/chart"),
    ({"chart": {"text": "| C / / / / |"}}, BeatsError, "/chart"),
    ({"chart": "| " + "C" * 10_000 + " |"}, ShortwayError, "/chart"),
    ({"chart": {"measures": []}}, ChartError, "/chart/measures"),
    ({"chart": {"text": "| C |"}, "setting": {"tempo": 120}}, UnknownField, "/setting/tempo"),
    (
        {"chart": {"text": "| C |"}, "setting": {"families": ["shell", "close"]}},
        NotesNeeded,
        "/setting/notes",
    ),
    ({"chart": {"text": "| C |"}, "start_from": [60, 60]}, ShortwayError, "/start_from"),
    ({"chart": {"text": "| C |"}, "start_from": []}, ShortwayError, "/start_from"),
    ({"chart": {"text": "| C |"}, "start_from": [60, 200]}, ShortwayError, "/start_from/1"),
    ({"chart": {"text": "| C |"}, "start_from": "C4"}, ShortwayError, "/start_from"),
]


@each_row(
    "call, error, pointer",
    REFUSED,
)
def test_what_cannot_be_is_refused_where_it_is(
    call: dict[str, object], error: type[ShortwayError], pointer: str
) -> None:
    with pytest.raises(error) as caught:
        solve(**call)  # type: ignore[arg-type]
    assert caught.value.faults[0].pointer.startswith(pointer)
    assert caught.value.detail


def test_no_voicing_says_which_step_and_which_rule() -> None:
    """75 mm take the fourth B E, not the tritone E Bb."""
    narrow = {"families": ["shell"], "hands": "left", "reach_mm": 75}
    with pytest.raises(NoVoicing, match=r"step 1 \(C7, measure 2, beat 1\).*reach \d") as caught:
        solve("| Cmaj7 | C7 |", narrow)
    assert caught.value.excluded["reach"] > 0
    assert caught.value.faults[0].expected


def test_too_large_says_how_large_and_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    size = solve("| Dm7 | G7 |").size
    monkeypatch.setattr(search, "MAX_TRANSITIONS", size.transitions)
    assert solve("| Dm7 | G7 |").size == size
    monkeypatch.setattr(search, "MAX_TRANSITIONS", size.transitions - 1)
    with pytest.raises(TooLarge, match=f"{size.transitions:,} transitions") as caught:
        solve("| Dm7 | G7 |")
    assert f"{size.transitions - 1:,}" in str(caught.value.faults[0].expected)


def test_a_chord_that_cannot_change() -> None:
    one = {"families": ["rootless-three"], "hands": "left", "repeats": "change"}
    tight = {**one, "lowest": "E3", "highest": "D4"}
    assert voicings("C7", tight).total == 1
    with pytest.raises(NoVoicing, match="no other voicing to change to"):
        solve("| C7 | C7 |", tight)
    assert pitch("C4") == 60
