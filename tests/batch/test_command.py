"""`shortway batch`: every line answered once and in order, whatever the files and the lines."""

from __future__ import annotations

import gzip
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import orjson
import pytest
from click.testing import CliRunner, Result

from batch.commands import BAD, CHARTS, LONG, run, written
from shortway.batch import chunks, inputs, process_pool
from shortway.cli import main
from shortway.core import cache
from shortway.core.solver.solve import solve
from shortway.wire.serializers.paths import path_json
from support.tunes import requests


def call(*arguments: object) -> Result:
    """The command in this process, with one worker: itself."""
    return CliRunner().invoke(main, ["batch", *map(str, arguments), "--workers", "1"])


def answers(path: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in path.read_bytes().splitlines()]


@pytest.mark.slow
def test_a_thousand_charts_are_solved_as_one_by_one(book: Path, answered: bytes) -> None:
    charts = [json.loads(line)["chart"]["text"] for line in book.read_bytes().splitlines()]
    assert len(set(charts)) == CHARTS
    for number, (chart, line) in enumerate(zip(charts, answered.splitlines(), strict=True)):
        path = path_json(solve(chart))
        expected = {"id": f"tune-{number}", "line": number + 1, "path": path, "problem": None}
        assert line == orjson.dumps(expected), number


@pytest.mark.slow
def test_several_processes_write_what_one_does(book: Path, answered: bytes, tmp_path: Path) -> None:
    said, told = run(book, tmp_path / "out.jsonl", "--workers", 3)
    assert (tmp_path / "out.jsonl").read_bytes() == answered
    assert said == f"{tmp_path / 'out.jsonl'}: solved {CHARTS:,}, refused 0, failed 0\n"
    assert told == ""
    assert sorted(os.listdir(tmp_path)) == ["out.jsonl", "out.jsonl.state"]


def test_bad_lines_are_answered_in_their_places(tmp_path: Path) -> None:
    good = {"id": "good", "chart": {"text": "| Dm7 | G7 |"}}
    mixed = [good, b"", *BAD, b"   ", good]
    source = written(tmp_path / "in.ndjson", mixed)
    result = call(source, tmp_path / "out.ndjson")
    assert result.output.endswith(f"solved 2, refused {len(BAD)}, failed 0\n")
    assert result.exit_code == 0
    first, *refused, last = answers(tmp_path / "out.ndjson")
    assert (first["line"], first["path"]) == (1, last["path"])
    assert first["path"] == json.loads(orjson.dumps(path_json(solve("| Dm7 | G7 |"))))
    assert [line["line"] for line in refused] == list(range(3, 3 + len(BAD)))
    assert [line["problem"]["code"] for line in refused] == list(BAD.values())


def test_a_line_of_ten_megabytes_is_not_held(tmp_path: Path) -> None:
    huge = b'{"id": "huge", "chart": "' + b" " * 10_000_000 + b'"}'
    good = {"id": "good", "chart": {"text": "| C |"}}
    source = written(tmp_path / "in.jsonl", [good, huge, good])
    read = [text for chunk in inputs.read_chunks(source, 0, 0) for text in chunk.lines]
    assert [len(text) for text in read][1] == (1 << 20) + 1
    call(source, tmp_path / "out.jsonl")
    found = answers(tmp_path / "out.jsonl")
    assert [line["path"] is None for line in found] == [False, True, False]


@pytest.mark.parametrize("content", [b"", b"\n\n  \n"])
@pytest.mark.parametrize(
    "end", [".jsonl", ".jsonl.gz", pytest.param(".parquet", marks=pytest.mark.peer)]
)
def test_nothing_in_nothing_out(content: bytes, end: str, tmp_path: Path) -> None:
    source, out = tmp_path / "in.jsonl", tmp_path / f"out{end}"
    source.write_bytes(content)
    for told in (f"{out}: solved 0", f"{out} is already complete: solved 0"):
        result = call(source, out)
        assert (result.exit_code, result.output) == (0, f"{told}, refused 0, failed 0\n")
    if end == ".parquet":
        import pyarrow.parquet as pq

        assert pq.read_table(out).num_rows == 0
    else:
        found = out.read_bytes()
        assert (gzip.decompress(found) if end.endswith(".gz") else found) == b""


def test_the_last_line_may_lack_its_end(tmp_path: Path) -> None:
    source = tmp_path / "in.jsonl"
    source.write_bytes(
        b'{"id": "a", "chart": {"text": "| C |"}}\r\n{"id": "b", "chart": {"text": "| C |"}}'
    )
    call(source, tmp_path / "out.jsonl")
    assert [line["id"] for line in answers(tmp_path / "out.jsonl")] == ["a", "b"]


@pytest.mark.slow
def test_packed_files(book: Path, answered: bytes, tmp_path: Path) -> None:
    source = tmp_path / "in.jsonl.gz"
    source.write_bytes(gzip.compress(book.read_bytes()))
    assert call(source, tmp_path / "out.ndjson.gz").exit_code == 0
    assert gzip.decompress((tmp_path / "out.ndjson.gz").read_bytes()) == answered


@pytest.mark.slow
def test_a_damaged_packed_file_keeps_what_was_read(book: Path, tmp_path: Path) -> None:
    packed = gzip.compress(book.read_bytes())
    source = tmp_path / "in.jsonl.gz"
    source.write_bytes(packed[: len(packed) // 2])
    result = call(source, tmp_path / "out.jsonl")
    assert result.exit_code == 3
    assert "cannot be read further" in result.output
    assert (tmp_path / "out.jsonl.part").stat().st_size > 0


def test_options_are_the_setting_of_lines_that_have_none(tmp_path: Path) -> None:
    own = {"hands": "right"}
    lines = [
        {"id": "a", "chart": {"text": "| C7 |"}},
        {"id": "b", "chart": {"text": "| C7 |"}, "setting": own},
    ]
    source = written(tmp_path / "in.jsonl", lines)
    call(source, tmp_path / "out.jsonl", "--hands", "left", "--home", "E4")
    found = [line["path"]["setting"] for line in answers(tmp_path / "out.jsonl")]
    assert [(setting["hands"], setting["home"]) for setting in found] == [
        ("left", "E4"),
        ("right", path_json(solve("| C7 |", own))["setting"]["home"]),
    ]


def test_a_setting_that_cannot_be_is_refused_before_anything_is_read(tmp_path: Path) -> None:
    result = call(tmp_path / "in.jsonl", tmp_path / "out.jsonl", "--notes", "99")
    assert result.exit_code == 2
    assert "--notes" in result.output
    assert os.listdir(tmp_path) == []


@pytest.fixture
def own_budget() -> Iterator[None]:
    """Afterwards the caches of this process have their budget again."""
    before = cache.shared_budget()
    yield
    cache.set_budget(before)


@pytest.mark.usefixtures("own_budget")
def test_caches_have_the_memory_of_the_variable(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SHORTWAY_CACHE_MB", "48")
    source = written(tmp_path / "in.jsonl", [{"id": "1", "chart": {"text": "| C7 |"}}])
    assert call(source, tmp_path / "out.jsonl").exit_code == 0
    once = {report.name: report.budget for report in cache.cache_reports()}  # apps of other tests
    later = cache.Memo[int, int]("made later", 8 << 20, int)
    assert (sum(once.values()) <= 48 << 20, later.budget) == (True, 1 << 20)
    pool = process_pool.ProcessPool(1)
    assert pool.call(cache.shared_budget) == 48 << 20
    pool.close()


def test_a_memory_that_cannot_be_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SHORTWAY_CACHE_MB", "half")
    result = call(tmp_path / "in.jsonl", tmp_path / "out.jsonl")
    assert (result.exit_code, os.listdir(tmp_path)) == (2, [])
    assert "SHORTWAY_CACHE_MB is 'half'" in result.output


@pytest.mark.parametrize(
    ("source", "out", "said"),
    [
        ("none.jsonl", "out.jsonl", "none.jsonl cannot be read"),
        ("in.csv", "out.jsonl", "has to end in"),
        ("in.jsonl", "out.txt", "has to end in"),
        ("in.jsonl", "in.jsonl", "the same file"),
        ("in.jsonl", "none/out.jsonl", "cannot be written"),
        pytest.param(
            "no.parquet", "out.jsonl", "no.parquet cannot be read", marks=pytest.mark.peer
        ),
        ("no.jsonl.gz", "out.jsonl", "no.jsonl.gz cannot be read"),
    ],
)
def test_files_that_will_not_do(source: str, out: str, said: str, tmp_path: Path) -> None:
    for name in ("in.jsonl", "no.parquet", "no.jsonl.gz"):
        written(tmp_path / name, [{"id": "a", "chart": {"text": "| C |"}}])
    before = sorted(os.listdir(tmp_path))
    result = call(tmp_path / source, tmp_path / out)
    assert result.exit_code == 2
    assert said in result.output
    assert sorted(os.listdir(tmp_path)) == before


def test_quiet_says_nothing_and_progress_says_rate_and_time(tmp_path: Path) -> None:
    source = written(tmp_path / "in.jsonl", requests(200, measures=8))
    assert run(source, tmp_path / "a.jsonl", "--workers", 1, "--quiet") == ("", "")
    said, told = run(source, tmp_path / "b.jsonl", "--workers", 1, "--progress")
    assert said.endswith("solved 200, refused 0, failed 0\n")
    assert " a second, " in told
    assert told.endswith("\n")  # universal newlines read the carriage return so


def test_what_fails_by_our_fault_is_counted_and_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(request: dict[str, Any]) -> None:
        raise RuntimeError("a fault of ours")

    monkeypatch.setattr("shortway.batch.lines.solve_path", broken)
    source = written(
        tmp_path / "in.jsonl", [{"id": "unseen", "chart": {"text": "| Gbmaj7#11 |"}}, b"[]"]
    )
    result = call(source, tmp_path / "out.jsonl")
    assert (result.exit_code, result.output.strip()[-29:]) == (1, "solved 0, refused 1, failed 1")
    assert "a fault of ours" in caplog.text


def test_an_id_cannot_be_taken_for_an_outcome() -> None:
    line = rb'{"id":"\"},\"path\":{","line":1,"path":null,"problem":{"status":422}}'
    assert chunks.count_line(line) == chunks.Counts(refused=1)
    assert chunks.count_line(
        rb'{"id":"\\\"\\","line":1,"path":{},"problem":null}'
    ) == chunks.Counts(solved=1)


def test_neither_solve_nor_batch_loads_the_extras(tmp_path: Path) -> None:
    source = written(tmp_path / "in.jsonl", [{"id": "a", "chart": {"text": "| C |"}}])
    for arguments in (["solve", "| C |"], ["batch", str(source), str(tmp_path / "out.jsonl")]):
        code = (
            "import sys; from shortway.cli import main\n"
            f"if __name__ == '__main__':\n"
            f"    try: main({arguments!r})\n"
            "    except SystemExit as end: assert not end.code, end.code\n"
            "    print(*sorted({name.partition('.')[0] for name in sys.modules}))"
        )
        result = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, timeout=LONG, check=True
        )
        loaded = set(result.stdout.splitlines()[-1].split())
        assert {"shortway", "numpy"} <= loaded
        assert not loaded & {"pyarrow", "distributed", "dask", "flask", "requests", "tornado"}
