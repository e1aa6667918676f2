"""What is typed, as the wire's values; and refusals under the very characters."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from shortway.cli import main
from shortway.cli.errors import SHOWN, excerpt, fault_lines, option_of
from shortway.cli.input import chart_from_argument, notes_from_text, pin_from_text
from shortway.cli.options import FIELDS, setting_from_options
from shortway.core.errors import ChartError, Fault, PinError, SettingError
from shortway.core.settings import setting as core_setting
from support.sheets import harmony, measures, note, packed, score
from support.tables import each_row


def test_every_setting_is_an_option() -> None:
    assert set(core_setting.FIELDS) <= set(FIELDS)
    assert set(FIELDS) - set(core_setting.FIELDS) == {"preset"}


@pytest.mark.parametrize(
    ("fields", "setting"),
    [
        ({}, {}),
        ({"bass_player": False}, {"bass_player": False}),
        ({"notes_vary": True}, {"notes_vary": True}),
        ({"notes": 5}, {"notes": 5}),
        ({"split_cost": 0}, {"split_cost": 0}),
        (
            {"families": ("close, drop-2", "shell")},
            {"families": ["close", "drop-2", "shell"]},
        ),
        ({"lowest": "E3", "highest": "C6"}, {"lowest": "E3", "highest": "C6"}),
    ],
)
def test_options_make_a_setting(fields: dict[str, Any], setting: dict[str, Any]) -> None:
    blank: dict[str, Any] = dict.fromkeys(FIELDS) | {"families": (), "waive": ()}
    assert setting_from_options(blank | fields) == setting


def test_a_chart_is_its_text_or_a_file(tmp_path: Path) -> None:
    file = tmp_path / "chart.txt"
    file.write_bytes(b"\xef\xbb\xbf| E\xe2\x99\xad7 |")
    assert chart_from_argument(str(file)) == {"text": "| E♭7 |"}
    assert chart_from_argument("| C | F |") == {"text": "| C | F |"}
    assert chart_from_argument("C6/9") == {"text": "C6/9"}
    assert chart_from_argument(' {"measures": []}') == {"measures": []}
    assert chart_from_argument("| C |" * 5000) == {"text": "| C |" * 5000}
    assert chart_from_argument("C\0") == {"text": "C\0"}


def test_a_lead_sheet_is_told_by_how_it_begins(tmp_path: Path) -> None:
    text = score(measures(harmony("C") + note("C5", 16)))
    for name, content in (("a.musicxml", text.encode()), ("a.xml", text.encode("utf-16")),
                          ("a", b"\xef\xbb\xbf" + text.encode())):  # fmt: skip
        file = tmp_path / name
        file.write_bytes(content)
        assert chart_from_argument(str(file)) == {"musicxml": text}
    zipped = packed({"a.xml": text}, "a.xml")
    (tmp_path / "a.mxl").write_bytes(zipped)
    assert chart_from_argument(str(tmp_path / "a.mxl")) == {
        "mxl": base64.b64encode(zipped).decode()
    }
    with pytest.raises(ChartError, match="cannot find the file"):
        chart_from_argument("lost.mxl")


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"| C\xff |", "not UTF-8 at byte 3"),
        (b'{"measures": [}', "as JSON"),
        (b'{"a":' * 100_000, "nested too deep"),
    ],
)
def test_a_file_that_is_no_chart(tmp_path: Path, content: bytes, message: str) -> None:
    file = tmp_path / "chart"
    file.write_bytes(content)
    with pytest.raises(ChartError, match=message):
        chart_from_argument(str(file))


def test_a_mistyped_file_name_is_not_taken_for_a_chart() -> None:
    with pytest.raises(ChartError, match=r"cannot find the file 'blues\.txt'"):
        chart_from_argument("blues.txt")


def test_notes_by_name_and_number() -> None:
    assert notes_from_text("C4, Eb4 67", "") == [60, 63, 67]
    assert notes_from_text(None, "") is None
    with pytest.raises(SettingError, match="'H4' is not a pitch") as caught:
        notes_from_text("C4,H4", "/after")
    assert caught.value.faults[0].pointer == "/after"


@pytest.mark.parametrize("text", ["", "1", "x:form=A", "1:colour=red", "1:A", "-1:form=A"])
def test_what_is_no_pin(text: str) -> None:
    with pytest.raises(PinError, match="cannot read the pin") as caught:
        pin_from_text(text, 2)
    assert caught.value.faults[0].pointer == "/pins/2"


@each_row("length", [10, SHOWN, SHOWN + 1, 500, 10_000])
@each_row("share", [0, 0.5, 1])
def test_the_caret_stands_under_the_fault(length: int, share: float) -> None:
    position = int((length - 1) * share)
    text = "C" * position + "!" + "C" * (length - position - 1)
    line, column = excerpt(f"first\n{text}\nlast", position + 6)
    assert line[column] == "!"
    assert len(line) <= SHOWN


def test_the_caret_may_stand_past_the_end() -> None:
    assert excerpt("C7(", 3) == ("C7(", 3)
    assert excerpt("", 0) == ("", 0)


@pytest.mark.parametrize(
    ("pointer", "words"),
    [
        ("/setting/lowest", "--lowest"),
        ("/setting/families/1", "--families"),
        ("/pins/1/form", "--pin number 2"),
        ("/start_from/0", "--start-from"),
        ("/chart/measures/0", "measure 1"),
        ("/chart/order/3", "the chart's order"),
        ("", ""),
    ],
)
def test_places_in_the_words_of_the_command_line(pointer: str, words: str) -> None:
    assert option_of(pointer) == words


def test_a_fault_without_a_position_names_its_place() -> None:
    fault = Fault("/setting/reach", "said", None, "ninth or tenth")
    assert list(fault_lines(fault, "said", {})) == ["--reach: expected ninth or tenth"]


def test_a_files_name_decides_the_format_of_a_text(tmp_path: Path) -> None:
    song = tmp_path / "song.cho"
    song.write_text("{title: Ours}\n[Am]la [F]la")
    assert chart_from_argument(str(song)) == {
        "text": "{title: Ours}\n[Am]la [F]la", "text_format": "chordpro",
    }  # fmt: skip
    given = chart_from_argument("Dm7 G7", measure_each="symbol", tempo=None)
    assert given == {"text": "Dm7 G7", "measure_each": "symbol"}
    with pytest.raises(ChartError, match="cannot find the file"):
        chart_from_argument("lost.lab")


def test_charts_in_other_formats_are_solved(tmp_path: Path) -> None:
    (tmp_path / "song.cho").write_text("{title: Ours}\n[Am]la [F]la")
    (tmp_path / "song.lab").write_text("0 2 A:min\n2 4 F:maj\n")
    for arguments in (
        [str(tmp_path / "song.cho"), "--measure-each", "symbol"],
        [str(tmp_path / "song.lab"), "--chart-tempo", "120"],
        ["Am F", "--measure-each", "symbol"],
    ):
        found = CliRunner().invoke(main, ["solve", *arguments, "--format", "brief"])
        assert found.exit_code == 0, found.output
        assert len(found.output.splitlines()) == 2
    said = CliRunner().invoke(main, ["solve", "Am F"])
    assert said.exit_code != 0
    assert "is each a measure" in said.output
