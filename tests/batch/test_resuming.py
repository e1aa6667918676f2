"""Killed at any moment, the same command goes on: every chart once, byte for byte.

Kills are SIGKILL to the command, at moments drawn at random, in files of every kind; and to its
worker processes. What happens between two system calls is tried at each of them in turn.
"""

from __future__ import annotations

import fcntl
import gzip
import io
import json
import os
import random
import resource
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import psutil
import pytest

from batch.commands import CHARTS, LONG, run, start, written
from shortway.batch import journal, journal_state, lines
from shortway.batch import process_pool as local
from shortway.batch.chunks import Task
from shortway.batch.errors import CannotStart, InputChanged, Stopped
from shortway.batch.run import Batch, BatchReport, run_batch
from support.tunes import requests

KINDS = (".jsonl", ".jsonl.gz", ".parquet")
#: Times that a command is killed at most: on a busy machine it does little before each.
KILLS = 10
#: What Python says in a worker whose starter is killed before it has told it what to do.
ORPHAN = "EOFError: Ran out of input\n"
UNPACKED: dict[str, Callable[[bytes], bytes]] = {".gz": gzip.decompress}


def content(path: Path) -> Any:
    """What an output says, whatever its format."""
    if path.suffix == ".parquet":
        import pyarrow.parquet as pq

        return pq.read_table(path).to_pylist()
    return UNPACKED.get(path.suffix, bytes)(path.read_bytes())


# --- killed from outside -------------------------------------------------------------------------


@pytest.mark.parametrize(("kind", "workers"), [(".jsonl", 2), (".jsonl.gz", 1), (".parquet", 1)])
def test_killed_at_random_moments(
    kind: str, workers: int, book: Path, answered: bytes, tmp_path: Path
) -> None:
    whole, out = tmp_path / f"whole{kind}", tmp_path / f"out{kind}"
    assert run_batch(Batch(book, whole)).counts.solved == CHARTS
    moments = random.Random(f"moments{kind}")
    kills = 0
    while True:
        process = start(book, out, "--workers", workers)
        if kills % 2 == 0:  # every other time it may get somewhere
            advanced(process, out)
        if kills < KILLS:
            with suppress(subprocess.TimeoutExpired):
                process.wait(moments.uniform(0.0, 0.3) if kills > 1 else 0.01)
            process.kill()
        said = process.communicate(timeout=LONG)
        if process.returncode == 0:
            break
        assert process.returncode == -signal.SIGKILL
        assert not said[1] or said[1].endswith(ORPHAN)
        assert not out.exists() or out.read_bytes() == whole.read_bytes()
        kills += 1
    assert kills > 1
    assert out.read_bytes() == whole.read_bytes()
    if kind != ".parquet":
        assert content(out) == answered


def advanced(process: subprocess.Popen[str], out: Path) -> None:
    """Wait until more is noted than before."""
    state = journal_state.sidecar(out, "state")
    before = state.read_bytes() if state.exists() else b""
    while process.poll() is None and not (
        state.exists() and written_by(state.read_bytes(), before)
    ):
        time.sleep(0.005)


def written_by(noted: bytes, before: bytes) -> bool:
    return noted != before and json.loads(noted)["written"] > 0


def test_a_worker_that_is_killed_is_replaced(book: Path, answered: bytes, tmp_path: Path) -> None:
    process = start(book, tmp_path / "out.jsonl", "--workers", 2)
    try:
        workers_of(process)[0].kill()
        said = process.communicate(timeout=LONG)
    finally:
        ended(process)
    assert process.returncode == 0, said
    assert (tmp_path / "out.jsonl").read_bytes() == answered


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Charts of three measures."""
    return written(tmp_path_factory.mktemp("short") / "in.jsonl", requests(2000, measures=3))


@pytest.fixture(scope="module")
def short_answered(short: Path) -> bytes:
    """The answers to them, from one run that nobody disturbed."""
    out = short.with_name("out.jsonl")
    run_batch(Batch(short, out))
    return out.read_bytes()


@pytest.mark.parametrize("moment", range(3))
def test_workers_killed_from_their_first_moments_on_are_replaced(
    moment: int, short: Path, short_answered: bytes, tmp_path: Path
) -> None:
    """Both workers, one after the other, at moments drawn from their start to their first work."""
    draw = random.Random(f"first moments {moment}")
    process = start(short, tmp_path / "out.jsonl", "--workers", 2)
    try:
        killed_ids: set[int] = set()
        while len(killed_ids) < 4 and process.poll() is None:
            for worker in spawned(process):
                time.sleep(draw.uniform(0.0, 0.4))
                with suppress(psutil.NoSuchProcess):  # the batch may have come to its end
                    worker.kill()
                    killed_ids.add(worker.pid)
        said = process.communicate(timeout=LONG)
    finally:
        ended(process)
    assert process.returncode == 0, said
    assert len(killed_ids) >= 2
    assert (tmp_path / "out.jsonl").read_bytes() == short_answered


def ended(process: subprocess.Popen[str]) -> None:
    """Whatever became of a test, its process is gone and its pipes are closed.

    Pipes left open are complained of in some later test, which then fails for nothing.
    """
    process.kill()
    for pipe in (process.stdout, process.stderr):
        if pipe is not None:
            pipe.close()
    process.wait(LONG)


def spawned(process: subprocess.Popen[str]) -> list[psutil.Process]:
    """The workers that a command has now."""
    found = []
    with suppress(psutil.Error):
        for each in psutil.Process(process.pid).children():
            with suppress(psutil.Error):  # it has just ended
                found += [each] if "spawn_main" in " ".join(each.cmdline()) else []
    return found


def test_workers_end_with_the_command(book: Path, tmp_path: Path) -> None:
    process = start(book, tmp_path / "out.jsonl", "--workers", 2)
    workers = workers_of(process)
    process.kill()
    process.communicate(timeout=LONG)
    _, alive = psutil.wait_procs(workers, timeout=10)
    assert not alive


def workers_of(process: subprocess.Popen[str]) -> list[psutil.Process]:
    """Both workers of a command, once its output grows."""
    parent = psutil.Process(process.pid)
    part = Path(str(process.args[-3]) + ".part")  # type: ignore[index]
    until = time.monotonic() + LONG
    while time.monotonic() < until:
        if part.exists() and part.stat().st_size:
            return [each for each in parent.children() if "spawn_main" in " ".join(each.cmdline())]
        time.sleep(0.005)
    raise AssertionError("the output does not grow")


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_stopped_in_order(number: int, book: Path, answered: bytes, tmp_path: Path) -> None:
    out = tmp_path / "out.jsonl"
    process = start(book, out, "--workers", 2)
    workers_of(process)
    process.send_signal(number)
    _, told = process.communicate(timeout=LONG)
    assert process.returncode == 128 + number
    assert told == "Stopped. Answered lines are kept; the same command resumes from there.\n"
    noted = json.loads((tmp_path / "out.jsonl.state").read_text())
    assert noted["written"] == (tmp_path / "out.jsonl.part").stat().st_size > 0
    said, _ = run(book, out, "--workers", 1)
    assert f"solved {CHARTS:,}, refused 0, failed 0 ({noted['counts']['solved']:,} of them" in said
    assert out.read_bytes() == answered


@pytest.mark.parametrize("seconds", [0.1, 0.3, 0.5, 0.7])
def test_interrupted_from_its_first_moments_on(seconds: float, book: Path, tmp_path: Path) -> None:
    """130 as a shell shows it: its own exit code, or while Python still loads the signal itself."""
    out = tmp_path / "out.jsonl"
    process = start(book, out, "--workers", 2, start_new_session=True)
    time.sleep(seconds)
    os.killpg(process.pid, signal.SIGINT)  # as a terminal: to the workers, too
    _, told = process.communicate(timeout=LONG)
    assert process.returncode in (130, -signal.SIGINT), told


def test_an_input_that_changes_meanwhile_is_noticed(tmp_path: Path) -> None:
    source, out = written(tmp_path / "in.jsonl", requests(200, measures=3)), tmp_path / "out.jsonl"

    class Meddler:
        def tell(self, done: int, share: float) -> None:
            source.write_bytes(source.read_bytes().replace(b"7", b"9"))

    with pytest.raises(InputChanged, match=r"in\.jsonl changed while"):
        run_batch(Batch(source, out), Meddler())
    assert not out.exists()
    with pytest.raises(CannotStart, match="another input; --force"):
        run_batch(Batch(source, out))
    assert run_batch(Batch(source, out, overwrite=True)).counts.total == 200


def test_an_output_that_is_a_link_is_written_through(tmp_path: Path) -> None:
    source = written(tmp_path / "in.jsonl", requests(3, measures=3))
    (tmp_path / "far").mkdir()
    link, target = tmp_path / "out.jsonl", tmp_path / "far" / "out.jsonl"
    link.symlink_to(target)
    for expected in (False, True):
        assert run_batch(Batch(source, link)).nothing_to_do is expected
    assert link.is_symlink()
    assert len(target.read_bytes().splitlines()) == 3


def test_stopped_right_after_a_write_it_is_noted(
    book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A request to stop that comes between a write and the mark of it."""
    writing = journal.Journal._write

    def interrupted(self: journal.Journal, data: bytes) -> None:
        writing(self, data)
        raise KeyboardInterrupt

    out = tmp_path / "out.jsonl"
    monkeypatch.setattr(journal.Journal, "_write", interrupted)
    with pytest.raises(KeyboardInterrupt):
        run_batch(Batch(book, out))
    noted = json.loads(journal_state.sidecar(out, "state").read_text())
    assert noted["written"] == journal_state.sidecar(out, "part").stat().st_size > 0
    assert noted["counts"]["solved"] == noted["line"] > 0


def test_a_full_disk_stops_it_and_room_lets_it_go_on(
    book: Path, answered: bytes, tmp_path: Path
) -> None:
    def small_files() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (4 << 20, 4 << 20))

    for _ in range(2):
        _, told = run(book, tmp_path / "out.jsonl", "--workers", 1, code=3, preexec_fn=small_files)
        assert "out.jsonl cannot be written: File too large; the same command resumes" in told
    assert sorted(os.listdir(tmp_path)) == ["out.jsonl.part", "out.jsonl.state"]
    said, _ = run(book, tmp_path / "out.jsonl", "--workers", 1)
    assert "of them by earlier runs" in said
    assert (tmp_path / "out.jsonl").read_bytes() == answered


# --- killed between any two acts on the disk -----------------------------------------------------


class Killed(BaseException):
    """The process is gone: nothing of it can act any more."""


class Disk:
    """The acts of the journal on the disk, which end at the act number `last`, half done."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, last: int) -> None:
        self.acts, self.last = 0, last
        disk = self

        class File(io.FileIO):
            def write(self, data: Any) -> int:
                if disk.dead():
                    super().write(bytes(data)[: len(data) // 2])
                disk.act()
                return super().write(data)

        def opened(path: Path, mode: str, buffering: int = -1, encoding: str | None = None) -> Any:
            disk.act()
            return File(path, mode) if buffering == 0 else open(path, mode, encoding=encoding)

        for module in (journal, journal_state):
            monkeypatch.setattr(module, "open", opened, raising=False)
        for owner, names in (
            (os, ("fdatasync", "fsync", "ftruncate", "replace")),
            (Path, ("unlink",)),
        ):
            for name in names:
                monkeypatch.setattr(owner, name, self.counted(getattr(owner, name)))

    def dead(self) -> bool:
        return self.acts == self.last

    def act(self) -> None:
        if self.dead():
            raise Killed
        self.acts += 1

    def counted(self, real: Callable[..., Any]) -> Callable[..., Any]:
        def act(*arguments: Any, **options: Any) -> Any:
            self.act()
            return real(*arguments, **options)

        return act


@pytest.mark.parametrize("kind", KINDS)
def test_killed_between_any_two_acts(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(journal, "COMMIT_EVERY", 0.0)
    source = written(tmp_path / "in.jsonl", [*requests(150, measures=1), b"[]"])
    run_batch(Batch(source, tmp_path / f"whole{kind}"))
    whole = content(tmp_path / f"whole{kind}")
    for last in range(200):
        out = tmp_path / f"out{last}{kind}"
        if killed(monkeypatch, Batch(source, out), last) is not None:
            break
        for again in (last // 2, last + 1):  # killed once more, and not
            killed(monkeypatch, Batch(source, out), again)
        report = run_batch(Batch(source, out))
        assert (report.counts.solved, report.counts.refused) == (150, 1)
        assert content(out) == whole
        assert not list(tmp_path.glob(f"{out.name}.*[!e]"))
    assert 20 < last < 199


def killed(monkeypatch: pytest.MonkeyPatch, batch: Batch, last: int) -> BatchReport | None:
    """What a run reports; None if it ended at the act number `last`."""
    with monkeypatch.context() as patch:
        Disk(patch, last)
        with suppress(Killed):
            return run_batch(batch)
    return None


# --- not to be mixed -----------------------------------------------------------------------------


@pytest.fixture
def begun(book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Batch:
    """A batch that was killed when it had answered something."""
    monkeypatch.setattr(journal, "COMMIT_EVERY", 0.0)
    batch = Batch(book, tmp_path / "out.jsonl")
    assert killed(monkeypatch, batch, 30) is None
    assert (tmp_path / "out.jsonl.part").stat().st_size > 0
    return batch


def test_another_input_is_not_mixed_in(begun: Batch, tmp_path: Path, answered: bytes) -> None:
    other = written(tmp_path / "other.jsonl", requests(3, measures=1, seed=1))
    with pytest.raises(CannotStart, match="was started with another input; --force"):
        run_batch(Batch(other, begun.out))
    assert run_batch(begun).before > 0
    with pytest.raises(CannotStart, match="was made with another input; --force"):
        run_batch(Batch(other, begun.out))
    assert begun.out.read_bytes() == answered
    assert run_batch(Batch(other, begun.out, overwrite=True)).counts.total == 3
    assert len(begun.out.read_bytes().splitlines()) == 3


def test_other_options_are_not_mixed_in(begun: Batch) -> None:
    with pytest.raises(CannotStart, match="another setting"):
        run_batch(Batch(begun.source, begun.out, {"hands": "left"}))


def test_another_version_is_not_mixed_in(begun: Batch, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shortway.batch.run.__version__", "9.9.9")
    with pytest.raises(CannotStart, match="another version"):
        run_batch(begun)


def test_overwriting_can_be_killed_too(
    book: Path, answered: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(journal, "COMMIT_EVERY", 0.0)
    out = tmp_path / "out.jsonl"
    other = written(tmp_path / "other.jsonl", requests(3, measures=1, seed=1))
    run_batch(Batch(other, out))
    before = out.read_bytes()
    assert killed(monkeypatch, Batch(book, out, overwrite=True), 30) is None
    assert out.read_bytes() == before
    assert run_batch(Batch(book, out, overwrite=True)).before > 0
    assert out.read_bytes() == answered


def test_a_complete_output_is_left_alone(book: Path, tmp_path: Path) -> None:
    batch = Batch(book, tmp_path / "out.jsonl")
    run_batch(batch)
    stamp = batch.out.stat().st_mtime_ns
    assert run_batch(batch).nothing_to_do
    assert batch.out.stat().st_mtime_ns == stamp
    assert not run_batch(Batch(book, batch.out, overwrite=True)).nothing_to_do
    with batch.out.open("ab") as file:
        file.write(b"more")
    with pytest.raises(CannotStart, match="has changed since"):
        run_batch(batch)
    batch.out.unlink()
    assert run_batch(batch).before == 0


@pytest.mark.parametrize("name", ["out.jsonl", "out.jsonl.part"])
def test_a_file_of_somebody_else_is_left_alone(name: str, book: Path, tmp_path: Path) -> None:
    (tmp_path / name).write_text("somebody else's")
    with pytest.raises(CannotStart, match=f"{name} exists and is not of this batch"):
        run_batch(Batch(book, tmp_path / "out.jsonl"))
    assert [path.read_text() for path in tmp_path.iterdir()] == ["somebody else's"]


def test_answers_that_were_lost_are_not_passed_over(begun: Batch) -> None:
    part = journal_state.sidecar(begun.out, "part")
    os.truncate(part, 10)
    with pytest.raises(CannotStart, match="is shorter than"):
        run_batch(begun)


def test_two_at_once_do_not_write_one_file(begun: Batch) -> None:
    with open(journal_state.sidecar(begun.out, "part"), "ab") as other:
        fcntl.flock(other, fcntl.LOCK_EX)
        with pytest.raises(CannotStart, match="another process is writing"):
            run_batch(begun)
    assert run_batch(begun).counts.total == CHARTS


# --- lines that end their process ----------------------------------------------------------------


@pytest.fixture
def pool() -> Iterator[local.ProcessPool]:
    made = local.ProcessPool(1)
    yield made
    made.close()


def test_a_process_that_is_lost_is_noticed_and_replaced(pool: local.ProcessPool) -> None:
    with pytest.raises(local.WorkerLost):
        pool.call(os._exit, 1)
    assert pool.call(os.getpid) != os.getpid()
    with pytest.raises(ZeroDivisionError):
        pool.call(divmod, 1, 0)


def test_a_process_killed_with_an_answer_half_sent_holds_up_nobody(pool: local.ProcessPool) -> None:
    with pytest.raises(local.WorkerLost):
        pool.call(half_sent)
    assert len(pool.call(bytes, 1 << 22)) == 1 << 22


def half_sent() -> bytes:
    """An answer larger than a pipe takes at once, whose process is killed while it sends.

    With the standard library's pool, where all workers share one pipe, nobody ever noticed.
    """
    whole = Connection._send  # type: ignore[attr-defined]

    def send(self: Any, data: Any) -> None:
        if len(data) > 1 << 15:
            os.write(self.fileno(), bytes(data)[: 1 << 15])
            os.kill(os.getpid(), signal.SIGKILL)
        whole(self, data)

    Connection._send = send  # type: ignore[attr-defined]
    return bytes(1 << 20)


def test_processes_that_never_begin_stop_it(
    pool: local.ProcessPool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(local, "_work", os._exit)
    with pytest.raises(Stopped, match="exit before they are ready"):
        pool.call(os.getpid)


def test_a_closed_pool_ends_its_processes_whatever_they_do() -> None:
    pool = local.ProcessPool(1)
    assert pool.call(os.getpid) != os.getpid()
    threading.Timer(0.5, pool.close).start()
    begun = time.monotonic()
    with pytest.raises(local.WorkerLost):
        pool.call(time.sleep, LONG)
    assert time.monotonic() - begun < LONG / 2
    with pytest.raises(Stopped):
        pool.call(os.getpid)


def test_a_line_that_ends_its_process_is_a_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    class Pool:
        def call(self, function: Callable[..., Any], *arguments: Any) -> Any:
            if function is not lines.answer_line or b"deadly" in arguments[0]:
                raise local.WorkerLost
            return function(*arguments)

    texts = (b'{"id": "a", "chart": {"text": "| C |"}}', b"", b'{"id": "deadly"}', b"[]")
    pool: Any = Pool()
    answers = local.answer_with_retry(pool, Task(), local.Chunk(5, texts, 0, 1.0))
    said = [json.loads(line) for line in answers.data.splitlines()]
    assert [line["line"] for line in said] == [5, 7, 8]
    assert said[1]["problem"]["code"] == "internal-error"
    assert (answers.counts.solved, answers.counts.refused, answers.counts.failed) == (1, 1, 1)


def test_no_more_than_a_few_chunks_are_under_way() -> None:
    under_way: list[int] = []
    most: list[int] = []

    class Future:
        def __init__(self, number: int) -> None:
            under_way.append(number)

        def result(self) -> int:
            most.append(len(under_way))
            return under_way.pop(0)

    chunks = (local.Chunk(number, (), 0, 0.0) for number in range(50))
    pairs = local.submit_in_order(chunks, lambda chunk: Future(chunk.first), 8)
    assert [(chunk.first, future.result()) for chunk, future in pairs] == [
        (number, number) for number in range(50)
    ]
    assert max(most) == 8
