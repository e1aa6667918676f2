"""A real Dask cluster on this machine: a scheduler and two workers, processes of their own."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import CliRunner

from batch.commands import BAD, CHARTS, LONG, run, start, written
from shortway.cli import main
from support.tunes import requests

DASK = (sys.executable, "-m", "distributed.cli.")


@dataclass
class Cluster:
    address: str
    scheduler: subprocess.Popen[bytes]
    workers: list[subprocess.Popen[bytes]]


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    with _running(tmp_path_factory.mktemp("cluster")) as found:
        yield found


@pytest.fixture
def doomed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    """One of which something is killed."""
    with _running(tmp_path_factory.mktemp("doomed")) as found:
        yield found


@contextmanager
def _running(folder: Path) -> Iterator[Cluster]:
    file = folder / "scheduler.json"
    shared = ("--scheduler-file", str(file), "--no-dashboard", "--host", "127.0.0.1")
    options = ("--no-nanny", "--nthreads", "1", "--local-directory", str(folder))
    with (folder / "log").open("wb") as log:
        commands = [("dask_scheduler", "--port", "0"), *[("dask_worker", *options)] * 2]
        processes = [
            subprocess.Popen([*DASK[:2], DASK[2] + name, *rest, *shared], stdout=log, stderr=log)
            for name, *rest in commands
        ]
        try:
            yield Cluster(_address(file), processes[0], processes[1:])
        finally:
            for process in processes:
                process.kill()
                process.wait(LONG)


def _address(file: Path) -> str:
    """What the scheduler wrote down once it was ready."""
    until = time.monotonic() + LONG
    while time.monotonic() < until:
        if file.exists() and (text := file.read_text()).endswith("}"):
            return str(json.loads(text)["address"])
        time.sleep(0.05)
    raise AssertionError("the scheduler does not start")


def grown(out: Path) -> None:
    """Wait until there are answers."""
    part = out.with_name(out.name + ".part")
    until = time.monotonic() + LONG
    while not (part.exists() and part.stat().st_size):
        assert time.monotonic() < until
        time.sleep(0.005)


def test_a_worker_that_is_killed_costs_no_chart(
    doomed: Cluster, book: Path, answered: bytes, tmp_path: Path
) -> None:
    out = tmp_path / "out.jsonl"
    process = start(book, out, "--scheduler", doomed.address)
    grown(out)
    doomed.workers[0].kill()
    said = process.communicate(timeout=LONG)
    assert process.returncode == 0, said
    assert said == (f"{out}: solved {CHARTS:,}, refused 0, failed 0\n", "")
    assert out.read_bytes() == answered


def test_a_lost_scheduler_stops_it_and_processes_go_on(
    doomed: Cluster, book: Path, answered: bytes, tmp_path: Path
) -> None:
    out = tmp_path / "out.jsonl"
    process = start(book, out, "--scheduler", doomed.address)
    grown(out)
    doomed.scheduler.kill()
    _, told = process.communicate(timeout=LONG)
    assert process.returncode == 3
    assert "the same command resumes from there" in told
    said, _ = run(book, out, "--workers", 2)
    assert "of them by earlier runs" in said
    assert out.read_bytes() == answered


def test_bad_lines_tables_and_packed_files(cluster: Cluster, tmp_path: Path) -> None:
    source = written(tmp_path / "in.jsonl", [*BAD, *requests(70, measures=2)])
    for end in (".jsonl", ".jsonl.gz", ".parquet"):
        here, there = tmp_path / f"here{end}", tmp_path / f"there{end}"
        said, _ = run(source, there, "--scheduler", cluster.address, "--hands", "left")
        assert said.endswith(f"solved 70, refused {len(BAD)}, failed 0\n")
        run(source, here, "--workers", 1, "--hands", "left")
        assert there.read_bytes() == here.read_bytes()


def test_workers_of_another_version_refuse(cluster: Cluster, tmp_path: Path) -> None:
    source = written(tmp_path / "in.jsonl", requests(1, measures=2))
    code = (
        "import shortway, sys; shortway.__version__ = '9.9.9'\n"
        "from shortway.cli import main\n"
        f"main(['batch', {str(source)!r}, {str(tmp_path / 'out.jsonl')!r},"
        f" '--scheduler', {cluster.address!r}])"
    )
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=LONG, check=False
    )
    assert result.returncode == 3
    assert "this is 9.9.9" in result.stderr


@pytest.mark.parametrize("address", ["nowhere", "http://127.0.0.1:1"])
def test_an_address_that_is_none(address: str, tmp_path: Path) -> None:
    source = written(tmp_path / "in.jsonl", requests(1, measures=2))
    arguments = ["batch", str(source), str(tmp_path / "out.jsonl"), "--scheduler", address]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 2
    assert f"no scheduler answers at {address}" in result.output
    assert [path.name for path in tmp_path.iterdir()] == ["in.jsonl"]


def test_nobody_at_an_address(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shortway.batch.cluster.WITHIN", 1)
    test_an_address_that_is_none("tcp://127.0.0.1:1", tmp_path)
