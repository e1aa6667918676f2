"""``shortway score``: a file of every form, and refusals that say where."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from shortway.api import create_app
from shortway.cli import main
from shortway.services.write_score import write_score

CHART = "| Dm7 | G7 | Cmaj7 | % |"


def ran(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["score", *map(str, arguments)])


@pytest.mark.parametrize(
    ("end", "kind"), [("musicxml", "musicxml"), ("mxl", "mxl"), ("mid", "midi"), ("svg", "svg")]
)
def test_every_form_by_the_end_of_the_name(tmp_path: Path, end: str, kind: str) -> None:
    out = tmp_path / f"Tune.{end}"
    options = "--hands left --title Lift --tempo 90 --held struck --degrees --picture lines --loop"
    said = ran(CHART, "-o", out, *options.split(), "--pin", "0:form=A")
    assert (said.exit_code, said.output) == (0, f"{out}: {out.stat().st_size:,} bytes\n")
    asked: dict[str, Any] = {
        "chart": CHART, "setting": {"hands": "left"}, "title": "Lift", "tempo": 90, "loop": True,
        "show": {"held": "struck", "degrees": True, "picture": "lines"},
        "pins": [{"step": 0, "form": "A"}],
    }  # fmt: skip
    assert out.read_bytes() == write_score(asked, kind)[1]


def test_a_json_file_gets_timed_events(tmp_path: Path) -> None:
    out = tmp_path / "Tune.json"
    assert ran(CHART, "-o", out, "--tempo", "90", "--rhythm", "charleston").exit_code == 0
    body = {"chart": {"text": CHART}, "tempo": 90, "rhythm": "charleston"}
    wanted = create_app().test_client().post("/v1/performances", json=body).get_json()
    assert json.loads(out.read_text("utf-8")) == wanted


def test_standard_output_gets_musicxml_alone() -> None:
    assert ran(CHART, "-o", "-").stdout_bytes == write_score({"chart": CHART}, "musicxml")[1]


def test_an_existing_file_is_kept_without_force(tmp_path: Path) -> None:
    out = tmp_path / "Tune.mid"
    out.write_bytes(b"mine")
    said = ran(CHART, "-o", out)
    assert (said.exit_code, out.read_bytes()) == (2, b"mine")
    assert "exists: --force replaces it" in said.stderr
    assert ran(CHART, "-o", out, "--force").exit_code == 0
    assert out.read_bytes()[:4] == b"MThd"


def test_a_lead_sheet_from_a_file(tmp_path: Path) -> None:
    sheet, out = tmp_path / "sheet.musicxml", tmp_path / "out.mxl"
    assert ran(CHART, "-o", sheet).exit_code == 0
    assert ran(sheet, "-o", out, "--no-bass-player").exit_code == 0
    assert out.read_bytes()[:2] == b"PK"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([CHART, "-o", "x.wav"], "end in .musicxml, .mxl, .mid, .svg, .pdf or .json"),
        ([CHART, "-o", "x.mid", "--hands", "feet"], "--hands"),
        ([CHART, "-o", "x.mid", "--tempo", "4"], "--tempo"),
        (["| Xm7 |", "-o", "x.mid"], "expected a root"),
        ([CHART, "-o", "x.mid", "--start-from", "H3"], "--start-from"),
        ([CHART, "-o", "nowhere/x.mid"], "cannot write"),
        ([CHART, "-o", "x.mid", "--title", ""], "title"),
    ],
)
def test_refusals(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], words: str
) -> None:
    monkeypatch.chdir(tmp_path)
    said = ran(*arguments)
    assert said.exit_code == 2
    assert words in said.output
    assert list(tmp_path.iterdir()) == []


LOADED = """
import sys
from click.testing import CliRunner
from shortway.api import create_app
from shortway.cli import main
said = CliRunner().invoke(main, sys.argv[1:])
assert said.exit_code == 0, said.output
print(*sorted({name.partition(".")[0] for name in sys.modules}))
"""
HEAVY = {"verovio", "music21", "mido", "defusedxml"}


@pytest.mark.parametrize(
    ("arguments", "heavy"),
    [
        (["solve", CHART], set()),
        (["score", CHART, "-o", "x.musicxml"], set()),
        (["score", CHART, "-o", "x.mid"], set()),
        (["score", CHART, "-o", "x.svg", "--picture", "lines"], set()),
        (["score", CHART, "-o", "x.svg"], set()),  # Verovio has a process of its own
    ],
)
def test_each_form_loads_what_it_needs(
    tmp_path: Path, arguments: list[str], heavy: set[str]
) -> None:
    run = subprocess.run(
        [sys.executable, "-c", LOADED, *arguments],
        capture_output=True, text=True, check=False, cwd=tmp_path,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    assert set(run.stdout.split()) & HEAVY == heavy


def test_an_excerpt_is_written(tmp_path: Path) -> None:
    for name, options in (("whole", ()), ("part", ("--from-measure", "2", "--to-measure", "3"))):
        command = ["score", CHART, "-o", str(tmp_path / f"{name}.json"), *options]
        assert CliRunner().invoke(main, command).exit_code == 0
    whole, part = (json.loads((tmp_path / f"{n}.json").read_text()) for n in ("whole", "part"))
    assert {event["step"] for event in part["events"]} == {1, 2}
    assert part["duration"] == whole["duration"] / 2
