"""A batch's warm rate and its memory, on one process and on two: ``python tests/bench/batch.py``.

Charts like real ones (`bench.realistic`), all distinct, from JSON Lines into packed JSON Lines,
each run a process of its own as the command is one. A rate is that of the run's second half, when
start-up is over and caches are warm; memory is of all processes together, what they share counted
once, after each quarter. Where other programs keep the machine busy two processes cannot be twice
as fast: the ratio by processor time is then the one to look at, what two processes would reach if
each had a core of its own. ``--short`` for CI; ``--charts 100000`` for another length.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from itertools import islice
from pathlib import Path
from typing import Any

import psutil

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.realistic import charts
from bench.rows import row
from shortway.batch.run import Batch, run_batch
from shortway.garbage_collection import shorten_collections

CHARTS, SHORT = 6_000, 1_500
QUARTERS = 4


class Watch:
    """Notes charts, seconds, processor seconds and bytes of memory after each quarter."""

    def __init__(self, count: int) -> None:
        self.count = count
        self.marks = [(0, 0.0, 0.0, 0)]

    def tell(self, done: int, share: float) -> None:
        """As a batch's watcher."""
        if done * QUARTERS >= self.count * len(self.marks):
            memory = sum(each.memory_full_info().pss for each in tree())
            self.marks.append((done, time.perf_counter(), processor_seconds(), memory))

    def told(self) -> dict[str, Any]:
        """Charts a second and a processor second in the second half, and megabytes."""
        middle, *_, end = self.marks[QUARTERS // 2 :]
        done, seconds, work, _ = (b - a for a, b in zip(middle, end, strict=True))
        memory = [round(mark[-1] / 1e6) for mark in self.marks[1:]]
        return {"rate": done / seconds, "by_work": done / work, "memory": memory}


def tree() -> list[psutil.Process]:
    """This process and its workers."""
    here = psutil.Process()
    return [here, *here.children(recursive=True)]


def processor_seconds() -> float:
    """What this process and its living workers have used."""
    return sum(sum(each.cpu_times()[:2]) for each in tree())


def one(workers: int, count: int, source: Path) -> None:
    """One run, in this process and its workers; prints what it found."""
    watch = Watch(count)
    shorten_collections()  # as the command does
    with tempfile.TemporaryDirectory(dir=source.parent) as folder:
        report = run_batch(Batch(source, Path(folder) / "out.jsonl.gz", workers=workers), watch)
    if report.counts.solved != count:
        raise SystemExit(f"not all solved: {report.counts}")
    print(json.dumps(watch.told()))


def measured(workers: int, count: int, source: Path) -> dict[str, Any]:
    """The same in a process of its own."""
    command = [sys.executable, __file__, "--one", str(workers), str(count), str(source)]
    found = subprocess.run(command, stdout=subprocess.PIPE, check=True, text=True).stdout
    return dict(json.loads(found))


def main(count: int) -> None:
    """Print the rates and the memory."""
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "in.jsonl"
        with source.open("w") as file:
            for number, chart in enumerate(islice(charts(9), count)):
                file.write(json.dumps({"id": f"tune-{number}", "chart": chart}) + "\n")
        print(f"{count:,} distinct charts, load before {os.getloadavg()[0]:.1f}")
        alone, both = (measured(workers, count, source) for workers in (1, 2))
    print("charts a processor second: "
          f"{alone['by_work']:.0f} in one process, {both['by_work']:.0f} in two")  # fmt: skip
    row("a batch of distinct charts like real ones, one process, warm",
        f"{alone['rate']:.0f} a second",
        f"two: {both['rate']:.0f}; {both['rate'] / alone['rate']:.2f} times, by processor time "
        f"{2 * both['by_work'] / alone['by_work']:.2f}")  # fmt: skip
    first, *later = both["memory"]
    row(f"… memory of the command and two workers after a quarter of {count:,} charts",
        f"{first} MB", f"after the others: {', '.join(map(str, later))}")  # fmt: skip


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        one(int(sys.argv[2]), int(sys.argv[3]), Path(sys.argv[4]))
    else:
        parser = argparse.ArgumentParser(description=__doc__)
        parser.add_argument("--short", action="store_true")
        parser.add_argument("--charts", type=int, default=CHARTS)
        options = parser.parse_args()
        main(SHORT if options.short else options.charts)
