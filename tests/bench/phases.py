"""Where a path's time goes, in µs of processor time a step: ``python tests/bench/phases.py``.

Distinct realistic charts, each solved once, after others have filled the caches. The compiled
search and numpy's take turns chart by chart, so that both figures of a row are of one run.
``--short``: fewer charts.
"""

from __future__ import annotations

import argparse
import gc
import sys
import time
from collections import Counter
from collections.abc import Callable, Mapping
from itertools import islice
from pathlib import Path
from typing import Any, TypeVar

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.realistic import charts
from shortway.core.charts import unroll
from shortway.core.harmony.functions import contexts
from shortway.core.shortest_path import points
from shortway.core.solver.report import build_path
from shortway.core.solver.request import as_chart, build_problem
from shortway.core.solver.search.exact import solve_k_best
from shortway.core.solver.solve import solve

T = TypeVar("T")
#: Name, setting, other arguments.
CASES: tuple[tuple[str, Mapping[str, Any], Mapping[str, Any]], ...] = (
    ("two hands", {}, {}),
    ("… as a loop", {}, {"loop": True}),
    ("… least motion", {"pricing": "none"}, {}),
    ("left hand", {"hands": "left"}, {}),
    ("no bass player", {"bass_player": False}, {}),
    ("four notes", {"notes": 4}, {}),
    ("six notes", {"notes": 6}, {}),
)
PHASES = ("read", "contexts", "candidates", "search", "answer")


class Clock:
    """Processor time by phase."""

    def __init__(self) -> None:
        self.spent: Counter[str] = Counter()
        self.steps = 0

    def timed(self, phase: str, work: Callable[[], T]) -> T:
        begin = time.process_time_ns()
        result = work()
        self.spent[phase] += time.process_time_ns() - begin
        return result

    def a_step(self, phase: str) -> float:
        """µs."""
        return self.spent[phase] / 1_000 / self.steps


def solved(
    clock: Clock, given: object, setting: Mapping[str, Any], more: Mapping[str, Any]
) -> None:
    """One chart by phases; candidates are what laying out takes beside the contexts."""
    chart = clock.timed("read", lambda: as_chart(given))  # type: ignore[arg-type]
    steps = unroll(chart)
    clock.timed("contexts", lambda: contexts(chart, steps, loop=bool(more)))
    problem = clock.timed("candidates", lambda: build_problem(chart, setting, **more))
    best = clock.timed("search", lambda: solve_k_best(problem))[0]
    clock.steps += len(clock.timed("answer", lambda: build_path(best)).steps)


def measure(case: tuple[str, Mapping[str, Any], Mapping[str, Any]], warm: int, count: int) -> None:
    """Print a row for each kind of search."""
    name, setting, more = case
    drawn = charts(13)
    for given in islice(drawn, warm):
        solve(given, setting, **more)
    kinds = [True, False] if points.NATIVE else [False]
    clocks = {native: Clock() for native in kinds}
    gc.collect()
    gc.freeze()
    for number, given in enumerate(islice(drawn, count)):
        points.NATIVE = kinds[number % len(kinds)]
        solved(clocks[points.NATIVE], given, setting, more)
    points.NATIVE = kinds[0]
    for native, clock in clocks.items():
        clock.spent["candidates"] -= clock.spent["contexts"]
        figures = [clock.a_step(phase) for phase in PHASES]
        row = "".join(f"{figure:12.1f}" for figure in (*figures, sum(figures)))
        print(f"{name:<18} {'compiled' if native else 'numpy':<9}{row}", flush=True)


def main() -> None:
    """All cases."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    warm, count = (60, 60) if parser.parse_args().short else (1_500, 600)
    print(f"{'µs a step':<28}" + "".join(f"{phase:>12}" for phase in (*PHASES, "sum")))
    for case in CASES:
        measure(case, warm, count)


if __name__ == "__main__":
    main()
