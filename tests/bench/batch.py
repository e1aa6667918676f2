"""A batch on two processes beside one, and its memory by length: ``python tests/bench/batch.py``.

Charts like real ones (`bench.realistic`), all distinct, from JSON Lines into packed JSON Lines,
each run a process of its own as the command is one. A rate is that of the run's last two
thirds, when caches are warm and start-up is over. Where other programs keep the machine busy two
processes cannot be twice as fast: the ratio by processor time is then the one to look at, what
two processes would reach if each had a core of its own. ``--short`` for CI: the same with a few
charts, too few to be warm.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import psutil

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.realistic import charts
from bench.rows import row
from shortway.batch.run import Batch, run_batch


@dataclass(frozen=True)
class Size:
    """How much is measured."""

    charts: int
    rounds: int
    few: int
    many: int


FULL = Size(charts=6_000, rounds=2, few=1_000, many=12_000)
SHORT = Size(charts=300, rounds=1, few=100, many=300)


#: What the processor's clock counts in, seconds.
TICK = 0.01


class Watch:
    """Notes when how many charts were done, and the most memory that was in use meanwhile."""

    def __init__(self, charts: int) -> None:
        self.charts, self.peak = charts, 0
        self.warm: tuple[int, float, float] | None = None
        self.begin = self.end = (0, time.perf_counter(), processor_seconds())
        threading.Thread(target=self._look, daemon=True).start()

    def tell(self, done: int, share: float) -> None:
        """As a batch's watcher."""
        self.end = done, time.perf_counter(), processor_seconds()
        if self.warm is None and done >= self.charts / 3:
            self.warm = self.end

    def _look(self) -> None:
        while True:
            self.peak = max(self.peak, sum(each.memory_info().rss for each in tree()))
            time.sleep(0.05)

    def told(self) -> dict[str, float]:
        """Charts a second and a processor second, and megabytes."""
        warm = self.begin if self.warm is None or self.warm == self.end else self.warm
        charts, seconds, work = (b - a for a, b in zip(warm, self.end, strict=True))
        seconds, work = max(seconds, TICK), max(work, TICK)
        return {"rate": charts / seconds, "by_work": charts / work, "peak": self.peak / 1e6}


def tree() -> list[psutil.Process]:
    """This process and its workers."""
    here = psutil.Process()
    return [here, *here.children(recursive=True)]


def processor_seconds() -> float:
    """What this process and its living workers have used."""
    return sum(sum(each.cpu_times()[:2]) for each in tree())


def one(workers: int, charts: int, source: Path) -> None:
    """One run, in this process and its workers; prints what it found."""
    watch = Watch(charts)
    with tempfile.TemporaryDirectory(dir=source.parent) as folder:
        report = run_batch(Batch(source, Path(folder) / "out.jsonl.gz", workers=workers), watch)
    if report.counts.solved != charts:
        raise SystemExit(f"not all solved: {report.counts}")
    print(json.dumps(watch.told()))


def measured(workers: int, charts: int, source: Path) -> dict[str, float]:
    """The same in a process of its own."""
    command = [sys.executable, __file__, "--one", str(workers), str(charts), str(source)]
    found = subprocess.run(command, stdout=subprocess.PIPE, check=True, text=True).stdout
    return dict(json.loads(found))


def written(folder: Path, count: int) -> Path:
    """An input of so many charts."""
    path = folder / f"{count}.jsonl"
    with path.open("w") as file:
        for number, chart in enumerate(islice(charts(9), count)):
            file.write(json.dumps({"id": f"tune-{number}", "chart": chart}) + "\n")
    return path


def main(size: Size) -> None:
    """Print the ratios."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        processes(folder, size)
        memory(folder, size)


def processes(folder: Path, size: Size) -> None:
    """Two processes beside one, in turns; the best of each."""
    source = written(folder, size.charts)
    load = os.getloadavg()[0]
    found = [
        [measured(workers, size.charts, source) for workers in (1, 2)] for _ in range(size.rounds)
    ]
    one_rate, two_rate = (max(pair[k]["rate"] for pair in found) for k in (0, 1))
    one_work, two_work = (max(pair[k]["by_work"] for pair in found) for k in (0, 1))
    print(f"{size.charts:,} distinct charts, load before {load:.1f}")
    print(f"charts a processor second: {one_work:.0f} in one process, {two_work:.0f} in two")
    row("a batch of distinct charts like real ones, one process", f"{one_rate:.0f} a second",
        f"two: {two_rate:.0f}; {two_rate / one_rate:.2f} times, by processor time "
        f"{2 * two_work / one_work:.2f}")  # fmt: skip


def memory(folder: Path, size: Size) -> None:
    """Many charts beside few, on two processes: the most memory of all three processes."""
    few, many = (
        measured(2, count, written(folder, count))["peak"] for count in (size.few, size.many)
    )
    row(f"… memory of the command and two workers at {size.many:,} charts", f"{many:.0f} MB",
        f"at {size.few:,}: {few:.0f} MB")  # fmt: skip


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        one(int(sys.argv[2]), int(sys.argv[3]), Path(sys.argv[4]))
    else:
        main(SHORT if "--short" in sys.argv else FULL)
