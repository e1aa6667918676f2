"""No file descriptor, no shared memory left: the service goes on with what it has."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from attack.attackers import addresses, connections
from support.disks import fill, small_disk
from support.processes import Process, serving, until

FEW_FILES = "import resource; resource.setrlimit(resource.RLIMIT_NOFILE, (300, 300))"


def test_more_connections_than_file_descriptors() -> None:
    """accept() would fail with EMFILE, which ends gunicorn's workers: they take no more."""
    with serving(before=FEW_FILES, THREADS="16") as service:
        before = service.workers()
        with connections(service.port, list(addresses(400))):
            pass
        until(service.is_up, "an answer")
        assert service.workers() == before
        assert "Too many open files" not in service.log()


def test_too_few_file_descriptors_for_the_threads_stop_the_start() -> None:
    found = pytest.raises(AssertionError, match="requires 448 open files; the limit")
    with found, serving(before=FEW_FILES, THREADS="128"):
        pass


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A file system in memory of its own, with 8 MB."""
    with small_disk(tmp_path / "memory", "8m") as found:
        yield found


def on(disk: Path) -> str:
    return (
        "from shortway.serving import gunicorn_settings\n"
        f"gunicorn_settings._memory_dir = lambda: {str(disk)!r}"
    )


def many_labels(service: Process) -> None:
    """Requests whose counts need more than the pages that are used already."""
    for method in ("GET", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"):
        for path in ("chords", "voicings", "charts", "paths", "scores", "families", "rhythms"):
            assert service.ask(f"/v1/{path}", b"", method)[0] < 500


def test_shared_memory_that_fills_up_ends_no_process(disk: Path) -> None:
    """Writing to a mapped file without room is a SIGBUS, which ended workers and the arbiter."""
    with serving(workers=2, before=on(disk)) as service:
        fill(disk)
        before = service.workers()
        many_labels(service)
        assert service.workers() == before
        os.kill(before[0], signal.SIGKILL)
        until(lambda: len(set(service.workers()) - {before[0]}) == 2, "another worker")
        many_labels(service)
        assert service.ask("/metrics")[0] == 200
        assert service.stop() == 0


def test_shared_memory_that_is_full_from_the_start(disk: Path) -> None:
    fill(disk)
    with serving(workers=2, before=on(disk)) as service:
        many_labels(service)
        assert b"shortway_requests_total" in service.ask("/metrics")[1]
        assert "each process has metrics of its own" in service.log()
        os.kill(service.workers()[0], signal.SIGKILL)
        until(lambda: len(service.workers()) == 2, "another worker")
        assert service.stop() == 0
