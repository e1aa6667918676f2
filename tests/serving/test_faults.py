"""Processes killed, clocks that jump, disks that are full, a Redis that goes: nothing is lost.

The service runs as it is served; who asks is `shortway_client`, which hides what passes. Common
practice, no source.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from batch.commands import run, written
from shortway.batch.run import Batch
from shortway.batch.run import run_batch as run_batch
from shortway_client import Client
from support.disks import fill, small_disk
from support.processes import LONG, Process, serving, until
from support.redis import running_redis
from support.tunes import requests

pytestmark = pytest.mark.slow

CHARTS = ["| Dm7 | G7 | Cmaj7 |", "| Fm7 | Bb7 | Ebmaj7 |", "| Em7b5 | A7 | Dm6 |"]


class Asking:
    """Clients in threads of their own that ask until they are told to stop."""

    def __init__(self, service: Process, count: int) -> None:
        self.answered = [0] * count
        self.failed: list[Exception] = []
        self._stop = threading.Event()
        url = f"http://127.0.0.1:{service.port}"
        self._threads = [
            threading.Thread(target=self._ask, args=(url, number)) for number in range(count)
        ]

    def _ask(self, url: str, number: int) -> None:
        with Client(url) as client:
            while not self._stop.is_set():
                chart = CHARTS[self.answered[number] % len(CHARTS)]
                try:
                    path = client.find_path(f"title: {number} {self.answered[number]}\n{chart}")
                    assert len(path.steps) == 3
                except Exception as error:
                    self.failed.append(error)
                    return
                self.answered[number] += 1

    def go_on(self, times: int = 3) -> None:
        """Wait until each has been answered some times more."""
        before = list(self.answered)
        until(
            lambda: (
                self.failed
                or all(now >= then + times for then, now in zip(before, self.answered, strict=True))
            ),
            "answers for everybody",
        )
        assert not self.failed

    def __enter__(self) -> Asking:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join(LONG)


# --- processes that are killed -----------------------------------------------------------------


def killed(service: Process) -> None:
    """Kill a worker outright, and wait until another is in its place."""
    before = service.workers()
    os.kill(before[0], signal.SIGKILL)
    until(lambda: len(set(service.workers()) - {before[0]}) == len(before), "another worker")


def test_workers_killed_under_load_are_seen_by_no_client() -> None:
    with serving(workers=2) as service, Asking(service, 4) as asking:
        for _ in range(6):
            asking.go_on()
            killed(service)
        asking.go_on()
        assert not asking.failed


def test_a_batch_whose_worker_is_killed_goes_on_where_it_was() -> None:
    charts = [{"id": str(k), "chart": {"text": f"title: {k}\n{CHARTS[k % 3]}"}} for k in range(900)]
    with serving(workers=2) as service:
        told, kills = [], 0
        with Client(f"http://127.0.0.1:{service.port}") as client:
            for result in client.find_paths(charts):
                assert result.path is not None
                told.append(result.id)
                if len(told) % 200 == 0:
                    for worker in service.workers():
                        os.kill(worker, signal.SIGKILL)
                    kills += 1
    assert told == [str(k) for k in range(900)]
    assert kills == 4


def test_a_stuck_request_holds_up_no_other() -> None:
    """One that never ends, in a service of one process."""
    stuck = """
import threading
import shortway.api.resources.rhythms as rhythms
rhythms.with_etag = lambda _: threading.Event().wait()
"""
    with serving(before=stuck) as service:
        waiting = service.connect()
        waiting.request("GET", "/v1/rhythms")
        with Asking(service, 3) as asking:
            asking.go_on(5)
        waiting.close()
        os.kill(service.workers()[0], signal.SIGKILL)  # else a stop waits for it


# --- clocks that jump --------------------------------------------------------------------------

JUMPS = """
import itertools, time
real, jumps = time.time, itertools.cycle((0.0, -3.0e8, 3.0e8, -86400.0, 3600.0))
time.time = lambda: real() + next(jumps)
"""


def test_nobody_notices_a_clock_that_jumps_at_every_look() -> None:
    """The one on the wall: years back and forth."""
    limits = {"RATE_LIMIT": "100000/minute", "MAX_REQUESTS": "40", "DEADLINE_SECONDS": "600"}
    with serving(workers=2, before=JUMPS, **limits) as service, Asking(service, 2) as asking:
        asking.go_on(40)
        assert service.ask("/v1/families")[0] == 200
        assert not asking.failed
        assert service.stop() == 0 or service.popen.returncode == 0


def test_a_batch_of_files_goes_by_no_clock_on_the_wall(tmp_path: Path) -> None:
    source = written(tmp_path / "in.jsonl", requests(300, measures=3))
    code = f"{JUMPS}\nfrom shortway.cli import main\nmain(['batch', 'in.jsonl', 'out.jsonl'])"
    command = [sys.executable, "-W", "error", "-c", code]
    subprocess.run(command, cwd=tmp_path, check=True, timeout=LONG, stdout=subprocess.DEVNULL)
    run_batch(Batch(source, tmp_path / "whole.jsonl"))
    assert (tmp_path / "out.jsonl").read_bytes() == (tmp_path / "whole.jsonl").read_bytes()


# --- a disk that is full -----------------------------------------------------------------------


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own, with 160 kB to write on."""
    with small_disk(tmp_path / "disk", "160k") as found:
        yield found


def resized(disk: Path, size: str) -> None:
    subprocess.run(["mount", "-o", f"remount,size={size}", str(disk)], check=True)


@pytest.mark.parametrize("kind", [".jsonl", ".jsonl.gz", ".parquet"])
def test_a_disk_that_fills_up_stops_a_batch_in_order(kind: str, disk: Path, tmp_path: Path) -> None:
    """And the same command resumes from there once there is room: nothing lost, nothing twice."""
    source = written(tmp_path / "in.jsonl", requests(400, measures=10))
    out = disk / f"out{kind}"
    for _ in range(2):
        _, told = run(source, out, "--workers", 1, code=3)
        assert told.count("\n") == 1
        assert "No space left on device; the same command resumes from there" in told
        assert not out.exists()
    resized(disk, "64m")
    said, _ = run(source, out, "--workers", 1)
    assert "refused 0, failed 0" in said
    assert sorted(os.listdir(disk)) == [out.name, f"{out.name}.state"]
    whole = tmp_path / f"whole{kind}"
    run_batch(Batch(source, whole))
    assert out.read_bytes() == whole.read_bytes()


def test_a_disk_that_is_full_from_the_start(disk: Path, tmp_path: Path) -> None:
    source = written(tmp_path / "in.jsonl", requests(20, measures=3))
    filler = fill(disk)
    _, told = run(source, disk / "out.jsonl", "--workers", 1, code=3)
    assert "No space left on device; the same command resumes from there" in told
    filler.unlink()
    said, _ = run(source, disk / "out.jsonl", "--workers", 1)
    assert "solved 20, refused 0, failed 0" in said


# --- a Redis that goes and comes back ----------------------------------------------------------


def test_clients_do_not_notice_that_redis_goes_and_comes_back(tmp_path: Path) -> None:
    with (
        running_redis(tmp_path) as redis,
        serving(workers=2, RATE_LIMIT="1000000/minute", REDIS_URL=redis.url) as service,
        Asking(service, 2) as asking,
    ):
        asking.go_on()
        redis.stop()
        asking.go_on(10)
        redis.start()
        asking.go_on(10)
        until(lambda: "storage recovered" in service.log(), "Redis again")
