"""``shortway exercise``: a chart through the keys on the screen, as JSON and as a score."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from shortway.cli import main
from shortway.core.exercises.exercise import exercise
from shortway.core.settings.setting import setting_json
from shortway.services.write_score import write_score
from shortway.wire.serializers.exercises import exercise_json

CHART = "title: Tram\nkey: Eb\n| Fm7 | Bb7 | Ebmaj7 |"


def ran(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["exercise", *map(str, arguments)])


def test_it_tells_where_each_key_begins() -> None:
    said = ran(CHART, "--keys", "C,F#", "--hands", "left")
    assert said.exit_code == 0, said.output
    lines = said.output.splitlines()
    assert lines[0] == "Tram in Eb, as given; 2 keys"
    found = exercise(CHART, None, {"hands": "left"}, keys=["C", "F#"])
    assert [line.split() for line in lines[4:6]] == [
        [one.key, *map(str, (one.measure, one.motion, one.difficulty))] for one in found.sections
    ]
    assert f"Hardest bars: {found.difficulty.hardest_measures[0]}, " in said.output
    assert f"otion {found.path.motion} semitones over 6 steps" in said.output


def test_it_says_that_a_key_was_inferred() -> None:
    assert ran("| Dm7 | G7 |").output.startswith("Chart in C, estimated from its chords; 12 keys\n")


def test_json_is_the_wire_s(tmp_path: Path) -> None:
    chart = tmp_path / "tram.txt"
    chart.write_text(CHART)
    options = "--key-order minor-thirds-down --formula best --hands left --loop --top-line hold"
    options += " --start-from 56,60,63,67"
    said = ran(chart, *options.split(), "--json")
    asked: dict[str, Any] = {"loop": True, "top_line": "hold", "start_from": [56, 60, 63, 67]}
    found = exercise(CHART, "minor-thirds-down", {"hands": "left"}, formula="best", **asked)
    assert json.loads(said.output) == exercise_json(found)


@pytest.mark.parametrize(("end", "kind"), [("musicxml", "musicxml"), ("mid", "midi")])
def test_a_score_is_that_of_the_whole_chart(tmp_path: Path, end: str, kind: str) -> None:
    out = tmp_path / f"tram.{end}"
    options = "--hands left --rhythm charleston --swing 2 --tempo 90 --degrees --loop"
    said = ran(CHART, "-o", out, *options.split())
    assert (said.exit_code, said.output) == (0, f"{out}: {out.stat().st_size:,} bytes\n")
    found = exercise(CHART, setting={"hands": "left"}, loop=True)
    pins = [
        {"step": k, "midi_notes": list(step.voicing.midi_notes)}
        for k, step in enumerate(found.path.steps)
        if step.voicing
    ]
    asked: dict[str, Any] = {
        "chart": exercise_json(found)["chart"],
        "setting": setting_json(found.path.setting),
        "pins": pins,
        "rhythm": "charleston",
        "swing": 2.0,
        "tempo": 90,
        "show": {"degrees": True, "page_breaks": "sections"},
        "loop": True,
    }
    assert out.read_bytes() == write_score(asked, kind)[1]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([CHART, "--key-order", "sixths"], "--key-order: expected fourths, fifths"),
        ([CHART, "--keys", "C,H"], "cannot read 'H' as a key"),
        ([CHART, "-o", "x.wav"], "end in .musicxml"),
        ([CHART, "--tempo", "90"], "--tempo needs a score: add -o"),
        (["| Dm7 | Gq7 |"], "cannot read 'q'"),
        ([CHART, "--start-from", "H3"], "--start-from"),
    ],
)
def test_refusals(arguments: list[str], words: str) -> None:
    said = ran(*arguments)
    assert said.exit_code == 2
    assert words in said.output
