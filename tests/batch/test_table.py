"""Parquet in and out: pyarrow itself writes the inputs and reads the outputs."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner, Result

from shortway.batch import parquet as table
from shortway.batch.errors import CannotStart
from shortway.cli import main
from support.tunes import requests


def call(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["batch", *map(str, arguments), "--workers", "1"])


def saved(path: Path, columns: dict[str, Any], group: int | None = None) -> Path:
    pq.write_table(pa.table(columns), path, row_group_size=group)
    return path


def test_tables_hold_what_lines_hold(book: Path, answered: bytes, tmp_path: Path) -> None:
    lines = [json.loads(line) for line in book.read_bytes().splitlines()]
    names = [line.pop("id") for line in lines]
    texts = [json.dumps(line) for line in lines]
    source = saved(tmp_path / "in.parquet", {"id": names, "request": texts}, group=100)
    assert call(source, tmp_path / "out.jsonl").exit_code == 0
    assert (tmp_path / "out.jsonl").read_bytes() == answered
    assert call(book, tmp_path / "out.parquet").exit_code == 0
    found = pq.read_table(tmp_path / "out.parquet")
    assert found.schema.equals(table.ANSWERS)
    expected = [json.loads(line) for line in answered.splitlines()]
    for row, line in zip(found.to_pylist(), expected, strict=True):
        assert (row["id"], json.loads(row["path"])) == (line["id"], line["path"])
        assert (row["line"], row["problem"]) == (line["line"], None)


def test_charts_may_be_a_column(tmp_path: Path) -> None:
    tunes = list(requests(5, measures=4))
    columns = {
        "chart": [tune["chart"]["text"] for tune in tunes],
        "id": [tune["id"] for tune in tunes],
    }
    call(saved(tmp_path / "in.parquet", columns), tmp_path / "out.parquet")
    found = pq.read_table(tmp_path / "out.parquet").to_pylist()
    assert [row["id"] for row in found] == [tune["id"] for tune in tunes]
    assert all(row["path"] for row in found)


def test_bad_rows_are_answered_with_their_numbers(tmp_path: Path) -> None:
    bad = {
        "[]": "not-json",
        "{}": "missing-field",
        "": "missing-field",
        '{"id": "twice", "chart": {"text": "| C |"}}': "not-json",
        '{"chart": {"text": "| Xq |"}}': "symbol-unreadable",
        " { } ": "missing-field",
    }
    source = saved(tmp_path / "in.parquet", {"id": ["a"] * len(bad), "request": list(bad)})
    result = call(source, tmp_path / "out.parquet")
    assert result.output.endswith(f"solved 0, refused {len(bad)}, failed 0\n")
    found = pq.read_table(tmp_path / "out.parquet").to_pylist()
    assert [row["line"] for row in found] == list(range(1, len(bad) + 1))
    assert [json.loads(row["problem"])["code"] for row in found] == list(bad.values())


def test_nulls_and_bytes_that_are_no_text(tmp_path: Path) -> None:
    odd = pa.array([b"a", None, b"\xff", b"b"], pa.binary()).cast(pa.string(), safe=False)
    charts = pa.array([None, b"| C |", b"| C |", b"\xff"], pa.binary())
    columns = {"id": odd, "chart": charts.cast(pa.string(), safe=False)}
    call(saved(tmp_path / "in.parquet", columns), tmp_path / "out.jsonl")
    found = [json.loads(line) for line in (tmp_path / "out.jsonl").read_bytes().splitlines()]
    codes = [line["problem"]["code"] for line in found]
    assert codes == ["chart-unreadable", "missing-field", "not-json", "not-json"]


@pytest.mark.parametrize("offset", [0, 1, 9, 10, 11, 24, 25])
def test_rows_are_read_from_anywhere(offset: int, tmp_path: Path) -> None:
    names = [str(number) for number in range(25)]
    columns = {"id": names, "chart": ["| C |"] * 25}
    source = saved(tmp_path / "in.parquet", columns, group=10)
    found = list(table.read_rows(source, offset))
    assert [json.loads(line.text)["id"] for line in found] == names[offset:]
    assert [line.offset for line in found] == list(range(offset + 1, 26))


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        ({"id": ["a"], "tune": ["| C |"]}, "has the columns id, tune; expected id and request"),
        ({"id": ["a"]}, "has the columns id; expected"),
        ({"id": ["a"], "chart": ["| C |"], "setting": ["{}"]}, "expected id and request"),
        ({"id": [1], "chart": ["| C |"]}, "the column id holds int64, not text"),
    ],
)
def test_other_columns_are_refused(columns: dict[str, Any], said: str, tmp_path: Path) -> None:
    source = saved(tmp_path / "in.parquet", columns)
    with pytest.raises(CannotStart, match=said):
        list(table.read_rows(source, 0))
    result = call(source, tmp_path / "out.jsonl")
    assert result.exit_code == 2
    assert said in result.output
    assert [path.name for path in tmp_path.iterdir()] == ["in.parquet"]
