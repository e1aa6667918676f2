"""Benchmark of the path kernel: `python tests/bench/path.py`, ratios of one run.

A thirty-two-bar chart with about sixty candidates a step (close, drop-2 and guide-tone at four
voices), warm: candidates and the matrices between them are known to either side. Our kernel then
finds the best path in the whole order of preference; networkx gets the same layered graph with the
least motion alone, building included. Last, a cold `shortway solve` of the twelve-bar demo.
"""

from __future__ import annotations

import platform
import subprocess
import sys
import time
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import networkx as nx
import numpy as np

from shortway.core import chart as charts
from shortway.core import solve as door
from shortway.core.nodes import group, layer
from shortway.core.search import Search
from shortway.core.setting import resolve
from shortway.core.solve import solve

SETTING = {"families": ["close", "drop-2", "guide-tone"], "notes": 4}
SETTING |= {"range": {"lowest": "Eb3", "highest": "Ab5"}}

#: Thirty-two bars in common forms' changes, no chord twice in a row.
CHART = """
| Fmaj7 | D7    | Gm7   | C7    | Am7   | D7b9 | Gm7  | C13  |
| Fmaj7 | F7    | Bbmaj7 | Eb9  | Am7   | D7   | Gm7  | C7   |
| Cm7   | F13   | Bbmaj7 | Bb6  | Bbm7  | Eb7  | Abmaj7 | Gm7 |
| Fmaj7 | D7    | Gm7   | Bbm6  | Am7   | Abm7 | Gm9  | C7b9 |
"""


def best_of(rounds: int, work: Callable[[], object]) -> float:
    """Least time of several rounds, in seconds."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def searched(loop: bool) -> Search:
    """The chart laid out for the kernel."""
    setting = resolve(SETTING)
    steps = charts.unroll(charts.read(CHART))
    nodes = group(steps, (), hold=True, loop=loop)
    layers = [layer(node, steps, (), setting) for node in nodes]
    return Search(steps, nodes, layers, setting, None, loop)


def matrices(loop: bool) -> list[np.ndarray]:
    """Motion between the candidates of successive steps."""
    search = searched(loop)
    return [search.moves(a, b).motion for a, b in search.seams]


def layered_graph(costs: list[np.ndarray]) -> nx.DiGraph:
    """The layered graph, with a beginning before the first layer and an end after the last."""
    graph = nx.DiGraph()
    for k, cost in enumerate(costs):
        for i, row in enumerate(cost.tolist()):
            for j, weight in enumerate(row):
                graph.add_edge((k, i), (k + 1, j), weight=weight)
    graph.add_edges_from((("begin", (0, i)) for i in range(len(costs[0]))), weight=0)
    ends = (((len(costs), j), "end") for j in range(costs[-1].shape[1]))
    graph.add_edges_from(ends, weight=0)
    return graph


def least(graph: nx.DiGraph, begin: object = "begin", end: object = "end") -> int:
    """The least motion by networkx's Dijkstra."""
    return int(nx.dijkstra_path_length(graph, begin, end))


def networkx_open(costs: list[np.ndarray], total: int) -> float:
    """Seconds to build the graph and find the open way."""
    assert least(layered_graph(costs)) == total
    return best_of(3, lambda: least(layered_graph(costs)))


def networkx_loop(costs: list[np.ndarray], own: int, total: int) -> float:
    """Seconds to build it once and search from every first voicing; one search is timed."""
    graph, ends = layered_graph(costs), ((0, own), (len(costs), own))
    assert least(graph, *ends) == total
    building = best_of(3, lambda: layered_graph(costs))
    return building + len(costs[0]) * best_of(3, lambda: least(graph, *ends))


def kernel(loop: bool) -> Callable[[], object]:
    """The kernel's part of `solve`, warm: packing the costs and finding the way."""
    return searched(loop).way


def machine() -> str:
    """Cores and model of the processor."""
    info = Path("/proc/cpuinfo")
    lines = info.read_text("utf-8").splitlines() if info.exists() else []
    models = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return f"{len(models) or '?'} cores, {models[0] if models else platform.processor()}"


def cold_solve() -> float:
    """A whole process: import, read, solve, print."""
    demo = str(files("shortway") / "demo" / "1-brass-key-blues.txt")
    command = [sys.executable, "-m", "shortway", "solve", demo]
    return best_of(5, lambda: subprocess.run(command, check=True, capture_output=True))


def row(name: str, ours: float, theirs: float) -> None:
    """One line of the table."""
    print(f"{name:<44} {ours * 1e3:9.2f} ms {theirs * 1e3:11.1f} ms {theirs / ours:8.0f} x")


def main() -> None:
    """Print the table."""
    print(
        f"{machine()}; Python {platform.python_version()}, numpy {np.__version__}, "
        f"networkx {nx.__version__}"
    )
    path = solve(CHART, SETTING)
    size = path.size
    print(
        f"{size.steps} steps, {size.candidates / size.steps:.0f} candidates a step, "
        f"{size.transitions:,} transitions\n"
    )
    print(f"{'':<44} {'shortway':>12} {'networkx':>14} {'ratio':>10}")
    for loop in (False, True):
        costs, path = matrices(loop), solve(CHART, SETTING, loop=loop)
        listed = [ranked.voicing for ranked in door.voicings("Fmaj7", SETTING).voicings]
        own = listed.index(path.steps[0].voicing)
        theirs = networkx_loop(costs, own, path.total) if loop else networkx_open(costs, path.total)
        name = f"loop, {len(costs[0])} searches of networkx" if loop else "open"
        row(f"{name}: kernel", best_of(20, kernel(loop)), theirs)
        whole = best_of(20, lambda loop=loop: solve(CHART, SETTING, loop=loop))
        row(f"{name}: all of solve", whole, theirs)
    print(f"\ncold `shortway solve`, twelve bars: {cold_solve():.2f} s")


if __name__ == "__main__":
    main()
