"""Where a path's time goes, in µs of processor time a step: ``python tests/bench/phases.py``.

Distinct realistic charts, each solved once, after others have filled the caches. The compiled
search and numpy's take turns chart by chart, so that both figures of a row are of one run.
``--short``: fewer charts.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Callable, Mapping
from itertools import islice
from pathlib import Path
from typing import Any, TypeVar

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.realistic import charts
from bench.rows import row
from bench.search import forget
from shortway.core.harmony.functions import contexts
from shortway.core.shortest_path import points
from shortway.core.solver import request
from shortway.core.solver.report import build_path
from shortway.core.solver.request import as_chart, build_problem
from shortway.core.solver.search.exact import solve_k_best
from shortway.core.solver.solve import solve
from shortway.garbage_collection import shorten_collections
from shortway.services.solve_path import solve_path
from shortway.wire.serializers.paths import path_bytes

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
#: Requests that are timed as a whole: a name, and fields beside the chart.
WHOLE: tuple[tuple[str, dict[str, Any]], ...] = (
    ("`level: brief`", {"level": "brief"}),
    ("three alternatives", {"alternatives": 3}),
    ("the least motion that is possible, too", {"with_least_motion": True}),
    ("`any-playable`, four notes", {"setting": {"families": ["any-playable"], "notes": 4}}),
)


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
    request.contexts = lambda *of, **how: clock.timed("contexts", lambda: contexts(*of, **how))
    problem = clock.timed("candidates", lambda: build_problem(chart, setting, **more))
    best = clock.timed("search", lambda: solve_k_best(problem))[0]
    clock.timed("answer", lambda: path_bytes(build_path(best)))
    clock.steps += len(problem.steps)


def measure(case: tuple[str, Mapping[str, Any], Mapping[str, Any]], warm: int, count: int) -> None:
    """Print a row for each kind of search."""
    name, setting, more = case
    drawn = charts(13)
    for given in islice(drawn, warm):
        solve(given, setting, **more)
    kinds = [True, False] if points.NATIVE else [False]
    clocks = {native: Clock() for native in kinds}
    shorten_collections()
    for number, given in enumerate(islice(drawn, count)):
        points.NATIVE = kinds[number % len(kinds)]
        solved(clocks[points.NATIVE], given, setting, more)
    points.NATIVE = kinds[0]
    for native, clock in clocks.items():
        clock.spent["candidates"] -= clock.spent["contexts"]
        figures = [clock.a_step(phase) for phase in PHASES]
        columns = "".join(f"{figure:12.1f}" for figure in (*figures, sum(figures)))
        print(f"  {name:<18} {'compiled' if native else 'numpy':<9}{columns}", flush=True)
    sums = [sum(clock.a_step(phase) for phase in PHASES) for clock in clocks.values()]
    about = "a step of distinct charts like real ones, whole answer in the core, warm"
    row(
        about if name == CASES[0][0] else name,
        f"{sums[0]:.0f} µs",
        f"numpy: {sums[-1]:.0f} µs",
    )
    if name == CASES[0][0]:
        parts = ", ".join(f"{clocks[kinds[0]].a_step(phase):.1f}" for phase in PHASES)
        row(f"… of which {', '.join(PHASES)}", f"{parts} µs")


def whole(name: str, fields: dict[str, Any], warm: int, count: int) -> None:
    """Print a row of requests that are answered as a whole, beside the same without `fields`."""
    drawn, spent, steps = charts(17), [0, 0], 0
    for given in islice(drawn, warm):
        answer({"chart": given, **fields})
    for given in islice(drawn, count):
        for kind, more in enumerate(({}, fields)):
            begin = time.process_time_ns()
            found = answer({"chart": given, **more})
            spent[kind] += time.process_time_ns() - begin
        steps += found
    plain, ours = (each / 1_000 / steps for each in spent)
    row(f"… {name}", f"{ours:.0f} µs", f"without: {plain:.0f} µs")


def answer(request: dict[str, Any]) -> int:
    """The bytes of an answer are made; its steps are counted."""
    path = solve_path(request)
    path_bytes(path, request.get("level", "full"))
    return len(path.steps)


def cold(count: int) -> None:
    """Print a row of charts that are each the first of a process."""
    spent, steps = 0, 0
    for given in islice(charts(19), count):
        forget()
        begin = time.process_time_ns()
        steps += answer({"chart": given})
        spent += time.process_time_ns() - begin
    row("… cold: no table is kept from other charts", f"{spent / 1_000 / steps:,.0f} µs")


def main() -> None:
    """All cases."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    warm, count = (150, 60) if parser.parse_args().short else (1_500, 400)
    print(f"  {'µs a step':<28}" + "".join(f"{phase:>12}" for phase in (*PHASES, "sum")))
    for case in CASES:
        measure(case, warm, count)
    for name, fields in WHOLE:
        whole(name, fields, warm // 10, count // 10)
    cold(max(2, count // 100))


if __name__ == "__main__":
    main()
