"""``shortway review``: text, JSON and MIDI in; a table or the wire's JSON out."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from shortway.cli import main
from shortway.cli.table import WIDTH
from shortway.core.review.review import review
from shortway.wire.serializers.reviews import review_json

CHART = "| Dm7 | G7 | Cmaj7 | % |"
TEXT = "F3 A3 C4 E4 | F3 A3 B3 E4 | E3 G3 B3 D#4 | -"
PLAYED = [[53, 57, 60, 64], [53, 57, 59, 64], [52, 55, 59, 63], None]
FILE = bytes.fromhex(
    "4d546864000000060000000100604d54726b00000016"
    "00903c40" "8300803c40" "00903e40" "8300803e40" "00ff2f00"
)  # fmt: skip


def run(*arguments: str, given: str = "") -> Result:
    return CliRunner().invoke(main, ["review", *arguments], input=given)


def answer(*arguments: str, given: str = "") -> Any:
    result = run(*arguments, "--json", given=given)
    assert (result.exit_code, result.stderr) == (0, "")
    return json.loads(result.stdout)


def test_what_was_played_may_come_in_many_ways(tmp_path: Path) -> None:
    expected = json.loads(json.dumps(review_json(review(CHART, PLAYED, {"hands": "left"}))))
    lines = tmp_path / "played.txt"
    lines.write_text("F3, A3, C4, E4\n53 57 59 64\nE3 G3 B3 D#4\n-\n")
    as_json = tmp_path / "played.json"
    as_json.write_text(json.dumps(PLAYED))
    for given in (TEXT, f"| {TEXT} |", str(lines), str(as_json), json.dumps(PLAYED)):
        assert answer(CHART, given, "--hands", "left") == expected
    assert answer(CHART, "-", "--hands", "left", given=TEXT) == expected


def test_the_same_again() -> None:
    found = answer("| Dm7 | % |", "F3 A3 C4 E4 | %")
    assert found["steps"][0]["played"]["midi_notes"] == found["steps"][1]["played"]["midi_notes"]


def test_a_midi_file(tmp_path: Path) -> None:
    file = tmp_path / "played.mid"
    file.write_bytes(FILE)
    found = answer("| Dm7 | G7 |", str(file))
    assert [step["played"]["midi_notes"] for step in found["steps"]] == [[60], [62]]
    assert found["alignment"] == {"taken": 2, "left_out": 0}
    slow = answer("| Dm7 / / G7 |", str(file), "--tempo-map", "0:60", "--channel", "1")
    assert slow["steps"][0]["played"]["midi_notes"] == [60, 62]
    assert "2 notes of the MIDI file within the chart" in run("| Dm7 | G7 |", str(file)).output


def test_the_table() -> None:
    result = run(CHART, TEXT, "--hands", "left", "--loop")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert max(map(len, lines)) <= WIDTH
    assert lines[0].split() == [
        "step", "bar", "chord", "left", "hand", "|", "right", "hand", "move", "excess", "findings",
    ]  # fmt: skip
    assert "the b3 (F) and the b7 (C) sound" in lines[2]
    assert any("D# would be" in line or "D#4 would be" in line for line in lines)
    assert "(nothing)" in result.stdout
    assert "2 faults, 0 remarks" in result.stdout
    assert "stop when it hurts" in " ".join(lines)


@pytest.mark.parametrize(("level", "code"), [("never", 0), ("fault", 0), ("remark", 1)])
def test_it_fails_on_findings_as_severe_as_asked(level: str, code: int) -> None:
    remarked = "F3 A3 C4 E4 | F3 A3 B3 Eb4"
    result = run("| Dm7 | G7 |", remarked, "--format", "brief", "--fail-on", level)
    assert result.exit_code == code
    assert result.stdout.startswith("1\t2\t1\tG7\tremark\tEb4 is the b13")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((CHART, "F3 A3"), "4 steps, and what was played 1"),
        (
            (CHART, "F3 | Gx3 | - | -"),
            "step 1 of the played notes, from 0: expected a letter",
        ),
        ((CHART, "F3 | 200 | - | -"), "step 1 of the played notes"),
        ((CHART, "[[53],"), "as JSON"),
        ((CHART, "nowhere.mid"), "cannot read"),
        ((CHART, "nowhere.mid", "--tempo-map", "fast"), "cannot read"),
        (("| Dq |", "F3"), "^ expected"),
    ],
)
def test_refusals(arguments: tuple[str, ...], words: str) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert words in result.stderr
    assert "Traceback" not in result.output


@pytest.mark.parametrize(("played", "loads"), [("F3 A3 C4 E4", False), ("played.mid", True)])
def test_what_reads_midi_is_loaded_for_midi_alone(tmp_path: Path, played: str, loads: bool) -> None:
    (tmp_path / "played.mid").write_bytes(FILE)
    code = (
        "import sys; from click.testing import CliRunner; from shortway.cli import main; "
        f"said = CliRunner().invoke(main, ['review', '| Dm7 |', {played!r}]); "
        "print(said.exit_code, 'mido' in sys.modules, 'flask' in sys.modules)"
    )
    told = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert told.stdout.split() == ["0", str(loads), "False"]


def test_a_bad_alignment_is_named(tmp_path: Path) -> None:
    file = tmp_path / "played.mid"
    file.write_bytes(FILE)
    for options, words in (
        (("--tempo-map", "fast"), "cannot read the tempo 'fast'"),
        (("--tempo-map", "0:1"), "--tempo-map"),
        (("--channel", "17"), "--channel"),
        (("--start", "-1"), "--start"),
    ):
        result = run("| Dm7 | G7 |", str(file), *options)
        assert (result.exit_code, words in result.stderr) == (2, True), result.stderr
