"""The commands, in the process: tables for people, JSON for programs, refusals with a caret."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from shortway.cli import main
from shortway.cli.table import WIDTH
from shortway.core.rhythm.patterns import PATTERNS
from shortway.core.settings.presets import PRESETS
from shortway.core.solver.solve import solve, voicings
from shortway.core.symbols.parser import parse
from shortway.core.theory.pitch import midi_number
from shortway.page import example_charts
from shortway.wire.serializers.chords import chord_json
from shortway.wire.serializers.paths import path_json
from shortway.wire.serializers.voicings import listing_json
from support.charts import placeless
from support.sheets import harmony, measures, packed, rest, score
from support.tables import each_row

TURN = "| Dm7 | G7 | Cmaj7 | % |"


def run(*arguments: str, given: str | bytes = "", **environment: str) -> Result:
    return CliRunner().invoke(main, arguments, input=given, env=environment)


def answer(*arguments: str, given: str | bytes = "", **environment: str) -> Any:
    result = run(*arguments, "--json", given=given, **environment)
    assert (result.exit_code, result.stderr) == (0, "")
    return json.loads(result.stdout)


def test_brief_is_a_line_for_each_step() -> None:
    lines = run("solve", TURN, "--format", "brief").stdout.splitlines()
    rows = [line.split("\t") for line in lines]
    steps = path_json(solve(TURN))["steps"]
    assert [(int(row[0]), int(row[1]), row[3]) for row in rows] == [
        (number, step["measure"], step["symbol"]) for number, step in enumerate(steps)
    ]
    for row, step in zip(rows, steps, strict=True):
        assert [midi_number(note) for note in row[4].split()] == list(step["voicing"]["midi_notes"])


@each_row("arguments", [
    ("chords", "C7\x1b]0;x\x07"), ("chords", "X\x9b31m"), ("solve", "| C7\x1b[31m |"),
    ("solve", "title: a\x1bb\n| C7 |"), ("solve", "| C7 | X\u202e |"), ("solve", "\x1b.txt"),
    ("review", "| C7 |", "C4 \x1b[2J"), ("voicings", "C\x7f\x08"), ("\x1b[2J",),
])  # fmt: skip
def test_nothing_that_is_given_steers_the_terminal(arguments: tuple[str, ...]) -> None:
    """Control characters (ECMA-48), and those of Unicode that reorder a line, are escaped."""
    output = CliRunner().invoke(main, list(arguments)).output
    assert output
    assert all(sign.isprintable() or sign == "\n" for sign in output), output


def test_the_table_is_as_wide_as_the_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shortway.cli.table.columns", lambda: 80)
    assert max(map(len, run("solve", TURN).stdout.splitlines())) <= 80


def test_the_shell_completes_words_of_the_setting() -> None:
    asked = {"_SHORTWAY_COMPLETE": "bash_complete", "COMP_CWORD": "3"}
    said = CliRunner().invoke(
        main, prog_name="shortway", env={**asked, "COMP_WORDS": "shortway solve --hands r"}
    )
    assert said.stdout.split() == ["plain,right"]


def test_solve_says_what_the_core_says() -> None:
    assert answer("solve", TURN) == json.loads(json.dumps(path_json(solve(TURN))))


def test_a_lead_sheet_is_solved_from_its_file_and_a_bad_one_is_shown(tmp_path: Path) -> None:
    text = score(measures(*(harmony(root, kind) + rest(16) for root, kind in (
        ("D", "minor-seventh"), ("G", "dominant"), ("C", "major-seventh"), ("C", "major-seventh")
    ))))  # fmt: skip
    for name, content in (
        ("turn.musicxml", text.encode()),
        ("turn.mxl", packed({"turn.xml": text}, "turn.xml")),
    ):
        (tmp_path / name).write_bytes(content)
        found = answer("solve", str(tmp_path / name))
        assert placeless(found) == placeless(answer("solve", TURN))
        assert answer("solve", "-", given=content) == found
    bad = run("solve", text.replace("<kind>dominant<", "<kind>Tristan<"))
    assert bad.exit_code == 2
    assert "measure 2 of part P1" in bad.stderr
    cut = run("solve", text[:-20])
    assert cut.exit_code == 2
    assert "cannot read the XML" in cut.stderr
    assert "^ expected a MusicXML document" in cut.stderr


def test_a_chart_may_come_in_three_ways(tmp_path: Path) -> None:
    file = tmp_path / "turn.txt"
    file.write_text(TURN)
    as_json = tmp_path / "turn.json"
    measures = [[{"symbol": symbol}] for symbol in ("Dm7", "G7", "Cmaj7", "Cmaj7")]
    as_json.write_text(json.dumps({"measures": measures}))
    expected = answer("solve", TURN)
    assert answer("solve", str(file)) == expected
    assert answer("solve", "-", given=TURN) == expected
    assert placeless(answer("solve", str(as_json))) == placeless(expected)


def test_options_reach_the_core() -> None:
    setting = {
        "bass_player": False,
        "families": ["drop-2", "close"],
        "notes": 4,
        "tensions": "written",
        "reach_mm": 226.0,
        "lowest": "E2",
        "highest": "A5",
        "home": "D4",
        "repeats": "change",
        "low_interval_limits": "usual",
        "waive": ["guide-tones"],
    }
    options = (
        "--no-bass-player --families drop-2,close --notes 4 --tensions written --reach-mm 226 "
        "--lowest E2 --highest A5 --home D4 --repeats change --low-interval-limits usual "
        "--waive guide-tones"
    )
    found = answer("solve", TURN, *options.split(), "--loop")
    assert found == json.loads(json.dumps(path_json(solve(TURN, setting, loop=True))))
    assert found["setting"].items() >= setting.items()
    assert found["loop_motion"] is not None


def test_pins_and_start() -> None:
    notes = solve(TURN).steps[0].voicing
    assert notes is not None
    pins = [{"step": 1, "form": "A"}]
    found = answer("solve", TURN, "--pin", "1:form=A", "--start-from", "E3,C4 67")
    assert found == json.loads(
        json.dumps(path_json(solve(TURN, pins=pins, start_from=[52, 60, 67])))
    )
    assert found["steps"][1]["voicing"]["form"] == "A"
    joined = "+".join(map(str, notes.midi_notes))
    assert answer("solve", TURN, "--pin", f"0:midi_notes={joined}")["steps"][0]["voicing"][
        "midi_notes"
    ] == list(notes.midi_notes)


def test_a_melody_and_a_top_line() -> None:
    chart = {"measures": [[{"symbol": "Fm7", "melody": ["Ab5"]}], [{"symbol": "Bb7"}]]}
    found = answer("solve", json.dumps(chart), "--top-line", "fall", "--melody", "below")
    expected = solve(chart, {"melody": "below"}, top_line="fall")
    assert found == json.loads(json.dumps(path_json(expected)))
    options = ["--over", "F5,Ab5", "--ceiling", "E5", "--top", "C5", "--melody", "below"]
    listed = answer("voicings", "Bb7", *options)
    over: dict[str, Any] = {"melody": ["F5", "Ab5"], "ceiling": "E5", "top": "C5"}
    assert listed["total"] == voicings("Bb7", {"melody": "below"}, **over).total > 0
    assert "hold" in run("solve", "| C |", "--top-line", "up").stderr


def test_the_environment_sets_and_options_win() -> None:
    assert answer("solve", TURN, SHORTWAY_REACH="octave")["setting"]["reach"] == "octave"
    found = answer("solve", TURN, "--reach", "tenth", SHORTWAY_REACH="octave")
    assert found["setting"]["reach"] == "tenth"
    found = answer("solve", TURN, SHORTWAY_FAMILIES="close,drop-2", SHORTWAY_BASS_PLAYER="0")
    assert found["setting"]["families"] == ["close", "drop-2"]
    assert found["setting"]["bass_player"] is False


def test_the_table_fits_and_has_every_step() -> None:
    for _, text in example_charts():
        result = run("solve", "-", "--loop", given=text)
        assert result.exit_code == 0, result.stderr
        lines = result.stdout.split("\n")
        path = solve(text, loop=True)
        assert max(map(len, lines)) <= WIDTH
        assert sum(bool(re.match(r"\d+ +\d+\.\d", line)) for line in lines) == len(path.steps)
        assert f"otion {path.motion} semitones" in result.stdout
        assert "stop when it hurts" in " ".join(result.stdout.split())
        assert result.stdout.isascii()


def test_the_table_tells_notes_and_degrees() -> None:
    step = solve("| G7 |", {"families": ["guide-tone"]}).steps[0]
    assert step.voicing is not None
    row = run("solve", "| G7 |", "--families", "guide-tone").stdout.split("\n")[3:5]
    for note in (*step.voicing.left, *step.voicing.right):
        assert note.note in row[0].split()
        assert note.degree in row[1].split()


def test_silence_in_the_table() -> None:
    assert "(silent)" in run("solve", "| C | N.C. | C |").stdout


def test_chords() -> None:
    symbols = ["Abm7b5/Gb", "N.C.", "F#7"]
    found = answer("chords", *symbols)
    assert found == {
        "chords": [
            {"symbol": symbol, "chord": chord_json(parse(symbol)), "problem": None}
            for symbol in symbols
        ]
    }
    table = run("chords", *symbols)
    assert "A#" in table.stdout
    assert "over Gb" in table.stdout


def test_one_bad_chord_does_not_sink_the_rest() -> None:
    result = run("chords", "C7", "Cq", "--json")
    assert result.exit_code == 2
    good, bad = json.loads(result.stdout)["chords"]
    assert good["chord"]["name"] == "C7"
    assert bad["symbol"] == "Cq"
    assert bad["problem"]["code"] == "symbol-unreadable"
    assert bad["problem"]["errors"][0]["pointer"] == "/symbols/1"
    assert "\n   ^" in result.stderr


def test_voicings_page_by_page() -> None:
    whole = listing_json(voicings("G7"))
    assert answer("voicings", "G7", "--limit", "1000") == json.loads(json.dumps(whole))
    pages = [
        answer("voicings", "G7", "--limit", "7", "--offset", str(offset))["voicings"]
        for offset in range(0, whole["total"], 7)
    ]
    assert [each for page in pages for each in page] == json.loads(json.dumps(whole["voicings"]))


def test_voicings_nearest_first() -> None:
    found = answer("voicings", "G7", "--after", "E3 Bb3 F4 A4 D5", "--pricing", "none")["voicings"]
    motions = [voicing["motion"] for voicing in found]
    assert motions == sorted(motions)
    assert "move" in run("voicings", "G7", "--after", "52,58,65,69,74").stdout


def test_rhythms(tmp_path: Path) -> None:
    found = answer("rhythms")["rhythms"]
    assert [rhythm["id"] for rhythm in found] == list(PATTERNS)
    assert "charleston" in run("rhythms").stdout
    plain, swung = tmp_path / "a.mid", tmp_path / "b.mid"
    assert run("score", TURN, "-o", str(plain), "--rhythm", "charleston").exit_code == 0
    options = ("--rhythm", "charleston", "--swing", "2")
    assert run("score", TURN, "-o", str(swung), *options).exit_code == 0
    assert plain.read_bytes() != swung.read_bytes()
    assert run("score", TURN, "-o", str(plain), "--rhythm", "polka").exit_code == 2


def test_presets() -> None:
    found = answer("presets")["presets"]
    assert [preset["id"] for preset in found] == list(PRESETS)
    assert all(preset["id"] in run("presets").stdout for preset in found)
    solo = answer("solve", TURN, "--preset", "solo", "--reach", "octave")["setting"]
    assert (solo["bass_player"], solo["reach"]) == (False, "octave")


def test_families() -> None:
    found = answer("families")["families"]
    assert "guide-tone-extended" in {family["id"] for family in found}
    table = run("families")
    assert all(family["id"] in table.stdout for family in found)
    assert max(map(len, table.stdout.split("\n"))) <= WIDTH


@each_row(
    "arguments, told",
    [
        (["solve", "| Dm7 | Gq7 | C |"], ["| Dm7 | Gq7 | C |\n           ^"]),
        (["solve", "| C |\n| Dq |"], ["  | Dq |\n     ^"]),
        (["solve", "|: C |"], ["^"]),
        (["solve", ""], ["chart"]),
        (
            ["solve", '{"measures": [[{"symbol": "C"}], [{"symbol": "Cq"}]]}'],
            ["  measure 2, chord 1:\n  Cq\n   ^"],
        ),
        (["solve", '{"measures": [[{"symbol": "C", "beats": 5}]]}'], ["measure 1"]),
        (["solve", '{"measures": ['], ["as JSON", "^"]),
        (["solve", "missing.txt"], ["cannot find the file"]),
        (["solve", "| C |", "--reach", "mile"], ["--reach: expected", "ninth"]),
        (["solve", "| C |", "--lowest", "H2"], ["H2", "^"]),
        (["solve", "| C |", "--pin", "0:colour=red"], ["cannot read the pin"]),
        (["solve", "| C |", "--pin", "7:form=A"], ["--pin number 1"]),
        (["solve", "| C |", "--start-from", "H2"], ["--start-from"]),
        (["solve", "| C |", "--families", "close,guide-tone-full"], ["--notes"]),
        (["solve", "| C |", "--lowest", "C4", "--highest", "D4"], ["Error: "]),
        (["voicings", "Cq"], ["  Cq\n   ^"]),
        (["chords", "C" * 10_000], ["^"]),
    ],
)
def test_refusals(arguments: list[str], told: list[str]) -> None:
    result = run(*arguments)
    assert (result.exit_code, result.stdout) == (2, ""), result.stderr
    assert result.stderr.startswith("Error: ")
    assert "Traceback" not in result.stderr
    assert max(map(len, result.stderr.split("\n"))) < 400
    for text in told:
        assert text in result.stderr, result.stderr


def test_standard_input_that_is_not_utf_8() -> None:
    result = run("solve", "-", given=b"| C\xff |")
    assert result.exit_code == 2
    assert "not UTF-8" in result.stderr


@pytest.mark.parametrize("name", [name for name, _ in example_charts()])
def test_demo_charts_are_of_the_promised_forms(name: str) -> None:
    from shortway.core.charts import parse_chart

    chart = parse_chart(dict(example_charts())[name])
    bars = {"1-brass-key-blues.txt": 12, "2-room-forty-one.txt": 32, "3-last-tram-home.txt": 24}
    assert len(chart.order) == bars[name]
    assert chart.title
    assert chart.key


def test_alternatives_follow_the_path() -> None:
    told = CliRunner().invoke(
        main, ["solve", "| Dm7 | G7 | Cmaj7 |", "--alternatives", "2", "--differs-in", "2"]
    )
    assert told.exit_code == 0
    assert told.stdout.count("proven optimal") == 1
    assert "Alternative 1" in told.stdout
    assert "Alternative 2" in told.stdout
    wrong = CliRunner().invoke(main, ["solve", "| Dm7 |", "--alternatives", "99"])
    assert wrong.exit_code == 2
    assert "expected 0 to 50" in wrong.stderr


def test_an_edited_chart_keeps_the_notes_of_an_earlier_answer(tmp_path: Path) -> None:
    before = answer("solve", TURN)
    earlier = tmp_path / "before.json"
    earlier.write_text(json.dumps(before))
    edited = TURN.replace("G7", "Db7")
    found = answer("solve", edited, "--keep", str(earlier))
    assert found["released"] == [1]
    notes = [[step["midi_notes"] for step in path["steps"]] for path in (before, found)]
    assert notes[0][2:] == notes[1][2:]
    assert "not kept at 1" in " ".join(run("solve", edited, "--keep", str(earlier)).stdout.split())
    earlier.write_text("{}")
    bad = run("solve", edited, "--keep", str(earlier))
    assert bad.exit_code == 2
    assert "is not an answer of shortway solve --json" in bad.stderr


def test_choices_of_a_step_and_brief_json() -> None:
    found = answer("solve", TURN, "--choices-at", "1", "--limit", "3", "--level", "brief")
    assert set(found["steps"][0]) == {"symbol", "measure", "beat", "beats", "onset", "midi_notes"}
    assert len(found["choices"]) == 3
    table = run("solve", TURN, "--choices-at", "1", "--limit", "3").stdout.split("\n\n")[-1]
    costs = [line.split()[0] for line in table.splitlines()[1:] if line[:1].isdigit()]
    assert costs == [str(choice["cost"]) for choice in found["choices"]]


@pytest.mark.parametrize("option", ["--force", "--overwrite"])
def test_a_batch_replaces_another_ones_output_only_when_told(tmp_path: Path, option: str) -> None:
    book, out = tmp_path / "in.jsonl", tmp_path / "out.jsonl"
    for symbol in ("C", "F"):
        book.write_text(json.dumps({"id": symbol, "chart": {"text": f"| {symbol} |"}}) + "\n")
        result = run("batch", str(book), str(out), *([option] if symbol == "F" else []))
        assert result.exit_code == 0
    assert json.loads(out.read_text())["id"] == "F"
    book.write_text(json.dumps({"id": "G", "chart": {"text": "| G |"}}) + "\n")
    assert run("batch", str(book), str(out)).exit_code != 0
