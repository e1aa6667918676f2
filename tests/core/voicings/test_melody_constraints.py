"""Melody, ceiling and top of a chart: nodes, refusals, and who sees what."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest

from shortway.core import cache
from shortway.core.errors import NoVoicing, SettingError, ShortwayError, TooLarge, WrongType
from shortway.core.solver import problem as search
from shortway.core.solver.search import exact as optimum
from shortway.core.solver.search import weights
from shortway.core.solver.solve import Path, solve, voicings
from shortway.core.theory.pitch import midi_number, pitch_name
from shortway.wire.serializers.paths import path_json


def chart(*entries: dict[str, Any]) -> dict[str, Any]:
    return {"measures": [[{"beats": 4, **entry}] for entry in entries]}


def tops(path: Path) -> list[int]:
    return [step.voicing.midi_notes[-1] for step in path.steps if step.voicing is not None]


def test_steps_that_hold_share_their_melody() -> None:
    entries = [{"symbol": "Dm7", "melody": ["C5"]}, {"symbol": "Dm7", "melody": ["G4"]}]
    path = solve(chart(*entries), {"hands": "left"})
    assert path.steps[0].voicing == path.steps[1].voicing
    assert path.size.candidates == voicings("Dm7", {"hands": "left"}, melody=["G4", "C5"]).total
    assert path.size.transitions == 0


def test_another_top_begins_its_own_voicing() -> None:
    every = sorted({ranked.voicing.midi_notes[-1] for ranked in voicings("Dm7").voicings})
    low, high = pitch_name(every[0]), pitch_name(every[-1])
    entries = [{"symbol": "Dm7", "top": low}, {"symbol": "Dm7"}]
    path = solve(chart(*entries, {"symbol": "Dm7", "top": high}, {"symbol": "Dm7"}))
    assert tops(path) == [every[0], every[0], every[-1], every[-1]]
    loop = solve(chart({"symbol": "Dm7", "top": low}, {"symbol": "G7"}, *entries), loop=True)
    assert tops(loop)[0] == tops(loop)[2] == tops(loop)[3] == every[0]
    assert loop.loop_motion == 0


def test_what_carries_the_melody_follows_it() -> None:
    """Two notes over one chord that is struck twice: two voicings under ``hold``."""
    setting = {"melody": "carry", "families": ["close", "drop-2"], "notes": 4}
    entries = [{"symbol": "Dm7", "melody": ["F4", "A4"]}, {"symbol": "Dm7", "melody": ["C5"]}]
    path = solve(chart(*entries, {"symbol": "G7"}), setting)
    assert tops(path)[:2] == [midi_number("A4"), midi_number("C5")]


def test_a_top_of_its_own_wins_over_carrying() -> None:
    setting = {"melody": "carry", "families": ["close", "drop-2"], "notes": 4}
    path = solve(chart({"symbol": "Dm7", "melody": ["C5"], "top": "A4"}), setting)
    assert tops(path) == [midi_number("A4")]


def test_answers_show_what_holds_over_a_step() -> None:
    over = {"melody": ["E5", "G5"], "ceiling": "E5", "top": "D5"}
    said = path_json(solve(chart({"symbol": "G7", **over}, {"symbol": "C6"})))
    assert {name: said["steps"][0][name] for name in over} == over
    assert not over.keys() & said["steps"][1].keys()
    assert said["top_line_motion"] is None
    assert said["setting"]["melody"] == "avoid"


def test_the_remark_says_what_rubs_all_the_same() -> None:
    entries = [{"symbol": "C7", "melody": ["F5"]}, {"symbol": "F6", "melody": ["F5"]}]
    path = solve(chart(*entries), {"hands": "left"})
    assert path.steps[0].remark.endswith("; its 3 against the melody's F5")
    assert "against" not in path.steps[1].remark
    silent = solve(chart(*entries), {"hands": "left", "melody": "ignore"})
    assert "against" not in silent.steps[0].remark


def test_a_chord_that_cannot_carry_or_stay_below_is_voiced_as_avoid_asks() -> None:
    """One step falls back, the others do as they are asked, and its remark says so."""
    for how, notes, words in (
        ("below", ("A5", "E3"), "no voicing lies below the melody's E3"),
        ("carry", ("A4", "C#5"), "no voicing has the melody's Db5 on top"),
    ):
        setting = {"families": ["close", "drop-2"], "notes": 4}
        entries = [{"symbol": "Dm7", "melody": [note]} for note in notes]
        first, second = solve(chart(*entries), {**setting, "melody": how}).steps
        assert "no voicing" not in first.remark
        assert words in second.remark.split("; ")
        listed = voicings("Dm7", {**setting, "melody": how}, melody=[notes[1]])
        avoiding = voicings("Dm7", {**setting, "melody": "avoid"}, melody=[notes[1]])
        assert listed.voicings == avoiding.voicings


# --- refused -------------------------------------------------------------------------------------

SUNG_EVERYWHERE = [pitch_name(n) for n in range(48, 85)]


@pytest.mark.parametrize(
    ("over", "setting", "field", "rule", "helps"),
    [
        ({"ceiling": "F3"}, {}, "ceiling", "ceiling", "a higher ceiling"),
        ({"top": "C#3"}, {}, "top", "top", "another top note"),
        ({"melody": SUNG_EVERYWHERE}, {}, "melody", "melody-clash", "fewer melody notes"),
    ],
)
def test_nothing_left_says_where_and_what_would_help(
    over: dict[str, Any], setting: dict[str, Any], field: str, rule: str, helps: str
) -> None:
    measures = [[{"symbol": "C7", "beats": 4}], [{"symbol": "F7", "beats": 2}, {"symbol": "Dm7"}]]
    measures[1][1] |= {"beats": 2, **over}
    given = {"measures": measures, "order": [1, 1, 2]}
    with pytest.raises(NoVoicing, match=r"^step 3 \(Dm7, measure 2, beat 3\) has no") as caught:
        solve(given, setting)
    (fault,) = caught.value.faults
    assert fault.pointer == f"/chart/measures/1/1/{field}"
    assert list(caught.value.excluded)[-1] == rule
    assert sum(caught.value.excluded.values()) == voicings("Dm7", setting).total
    assert helps in str(fault.expected)
    assert voicings("Dm7", setting, **over).total == 0


def test_the_help_helps() -> None:
    given = chart({"symbol": "Dm7", "melody": SUNG_EVERYWHERE}, {"symbol": "G7"})
    plain = chart({"symbol": "Dm7"}, {"symbol": "G7"})
    assert solve(given, {"melody": "ignore"}).cost == solve(plain).cost


@pytest.mark.parametrize(
    ("fields", "pointer", "kind"),
    [
        ({"melody": ["H5"]}, "/melody/0", SettingError),
        ({"melody": 76}, "/melody", WrongType),
        ({"melody": ["E5", 76]}, "/melody/1", WrongType),
        ({"ceiling": "G#9"}, "/ceiling", SettingError),
        ({"top": 4.5}, "/top", WrongType),
        ({"top": "G"}, "/top", SettingError),
    ],
)
def test_notes_over_a_listing_that_are_none(
    fields: dict[str, Any], pointer: str, kind: type[ShortwayError]
) -> None:
    with pytest.raises(kind) as caught:
        voicings("C7", **fields)
    assert caught.value.faults[0].pointer == pointer


@pytest.mark.parametrize(
    ("given", "kind", "expected"), [("up", SettingError, "hold"), (1, WrongType, "hold")]
)
def test_a_top_line_that_is_none(given: Any, kind: type[ShortwayError], expected: str) -> None:
    with pytest.raises(kind) as caught:
        solve("| C | F |", top_line=given)
    assert caught.value.faults[0].pointer == "/top_line"
    assert "hold" in str(caught.value.faults[0].expected)


# --- the top line --------------------------------------------------------------------------------

WALK = "| Fmaj7 | Em7 A7 | Dm7 | G7 | Cmaj7 | C7 |"


def test_a_line_that_rises_and_falls() -> None:
    free, rise, fall = (solve(WALK, top_line=line) for line in ("free", "rise", "fall"))
    assert (rise.top_line, fall.top_line, free.top_line) == (0, 0, None)
    assert all(a <= b for a, b in pairwise(tops(rise)))
    assert all(a >= b for a, b in pairwise(tops(fall)))
    assert free.cost <= min(rise.cost, fall.cost)


def test_a_loop_begins_its_line_anew() -> None:
    rise = solve(WALK, loop=True, top_line="rise")
    assert rise.top_line == 0
    assert tops(rise) == sorted(tops(rise))


def test_a_chord_held_over_the_repeat_has_no_new_beginning() -> None:
    """The first chord is the last one's: what rises must come down again before it."""
    seven, four = (
        {ranked.voicing.midi_notes[-1] for ranked in voicings(symbol, {"hands": "left"}).voicings}
        for symbol in ("C7", "F7")
    )
    given = chart(
        {"symbol": "C7"}, {"symbol": "F7", "top": pitch_name(max(four - seven))}, {"symbol": "C7"}
    )
    path = solve(given, {"hands": "left"}, loop=True, top_line="rise")
    line = tops(path)
    down = sum(max(0, a - b) for a, b in pairwise([*line, line[0]]))
    assert line[0] == line[-1]
    assert path.top_line == down > 0


def test_what_is_too_wide_for_a_top_line_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Narrowing rests on motion being asked first; nothing is approximated."""
    monkeypatch.setattr(optimum, "WIDE", 100)
    free = solve(WALK)
    held = solve(WALK, top_line="hold")
    assert held.cost >= free.cost
    monkeypatch.setattr(search, "MAX_TRANSITIONS", 1000)
    with pytest.raises(TooLarge) as caught:
        solve(WALK, {"families": ["any-playable"], "notes": 4}, top_line="hold")
    assert 'or "top_line": "free"' in str(caught.value.faults[0].expected)


def test_everything_playable_under_a_melody(monkeypatch: pytest.MonkeyPatch) -> None:
    """Narrowed or not, the same path through what the melody leaves."""
    setting: dict[str, Any] = {"families": ["any-playable"], "notes": 4}
    entries = [
        {"symbol": "Dm7", "melody": ["A5"]},
        {"symbol": "G7", "ceiling": "B4"},
        {"symbol": "Cmaj7", "melody": ["E5", "C5"]},
        {"symbol": "A7b9", "top": "G4"},
    ]
    for loop in (False, True):
        monkeypatch.setattr(optimum, "WIDE", 1 << 40)
        dense = solve(chart(*entries), setting, loop=loop)
        monkeypatch.setattr(optimum, "WIDE", -1)
        narrowed = solve(chart(*entries), setting, loop=loop)
        assert (narrowed.cost, tops(narrowed)) == (dense.cost, tops(dense))
        assert [step.voicing for step in narrowed.steps] == [step.voicing for step in dense.steps]


def test_a_long_chart_with_a_line_takes_little(monkeypatch: pytest.MonkeyPatch) -> None:
    """Seams between the same candidates share their costs, with a line as without."""
    laid: list[int] = []
    whole = weights.against

    def counted(*arguments: Any) -> Any:
        laid.append(1)
        return whole(*arguments)

    monkeypatch.setattr(weights, "against", counted)
    vary = {"notes_vary": True}
    path = solve("| Dm7 | G7 " * 500 + "|", vary, loop=True, top_line="hold")
    assert path.top_line == 0
    assert len(laid) == 2


def test_what_a_melody_leaves_is_remembered() -> None:
    given = chart({"symbol": "Dm7", "melody": ["A5"]}, {"symbol": "G7", "melody": ["G5"]})
    first = solve(given)
    before = {report.name: report for report in cache.cache_reports()}
    assert solve(given) == first
    after = {report.name: report for report in cache.cache_reports()}
    assert after["under a melody"].hits > before["under a melody"].hits
    for name in ("under a melody", "move costs", "voicing costs"):
        assert after[name].misses == before[name].misses


def test_nothing_left_of_several_sizes_is_an_empty_listing() -> None:
    setting = {"families": ["guide-tone-extended", "fourths"], "notes_vary": True}
    assert voicings("Bb7", setting, ceiling="C2").total == 0
