"""Benchmark of the search: `python tests/bench/search.py`, ratios of one run.

Every row is timed side by side with what it is compared to: networkx on the same layered graph
(building included), a dense programme in numpy over the same candidates (motion of every pair,
voice by voice, in int16 tables), or the same search at another length. Cold: no table is
remembered. Warm: the charts before have met the same chords.
"""

from __future__ import annotations

import argparse
import platform
import random
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import networkx as nx
import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.rows import row
from shortway.core import cache, charts
from shortway.core.solver.search.point_search import point_paths
from shortway.core.solver.solve import build_problem, solve
from shortway.core.voicings import available_tones as tones
from shortway.core.voicings import templates as shapes

ROOTS = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
SIXTY = {
    "families": ["close", "drop-2", "guide-tone"],
    "notes": 4,
    "lowest": "Eb3",
    "highest": "Ab5",
    "pricing": "none",
}
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


def forget() -> None:
    """Drop every table that the core remembers."""
    for tables in cache._CACHES:
        tables.clear()
    tones.available_tones.cache_clear()
    shapes.templates.cache_clear()


def pair(name: str, ours: float, theirs: float, unit: str = "ms", shown: bool = False) -> None:
    """One line of the table, as `name` says: ours, a colon, what it is compared with."""
    scale = 1e3 if unit == "ms" else 1
    figures = [f"{each * scale:,.2f} {unit}" for each in (ours, theirs)]
    what, _, beside = name.partition(" : ")
    if shown:
        row(what, figures[0], f"{beside}: {figures[1]}")
    else:
        print(f"  {name:<58} {figures[0]:>14} {figures[1]:>14} {theirs / ours:9.2f}", flush=True)


def machine() -> str:
    """Cores and model of the processor, versions."""
    info = Path("/proc/cpuinfo")
    lines = info.read_text("utf-8").splitlines() if info.exists() else []
    models = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return (
        f"{len(models) or '?'} cores, {models[0] if models else platform.processor()}; "
        f"Python {platform.python_version()}, numpy {np.__version__}, networkx {nx.__version__}"
    )


# --- the kernel ----------------------------------------------------------------------------------


def layered_graph(costs: list[NDArray[np.int32]]) -> nx.DiGraph:
    """The layered graph, with a beginning before the first layer and an end after the last."""
    graph = nx.DiGraph()
    for k, cost in enumerate(costs):
        for i, weights in enumerate(cost.tolist()):
            for j, weight in enumerate(weights):
                graph.add_edge((k, i), (k + 1, j), weight=weight)
    graph.add_edges_from((("begin", (0, i)) for i in range(len(costs[0]))), weight=0)
    ends = (((len(costs), j), "end") for j in range(costs[-1].shape[1]))
    graph.add_edges_from(ends, weight=0)
    return graph


def kernel_rows(rounds: int) -> None:
    """The search beside networkx, and a loop beside an open path."""
    search = build_problem(charts.parse_chart(CHART), SIXTY)
    size = search.size()
    costs = [search.moves(a, b).motion for a, b in search.seams]

    def theirs() -> int:
        return int(nx.dijkstra_path_length(layered_graph(costs), "begin", "end"))

    best = point_paths(search, 0, 1)
    assert best is not None
    assert theirs() == search.weighted_cost(best[0])
    closed = build_problem(charts.parse_chart(CHART), SIXTY, loop=True)
    open_pass, around = (
        best_of(20 * rounds, lambda of=of: point_paths(of, 0, 1)) for of in (search, closed)
    )
    graph = best_of(rounds, theirs)
    what = f"search, {size.steps} bars, {size.candidates / size.steps:.0f} candidates a step, warm"
    pair(f"{what} : networkx on the same graph", open_pass, graph, shown=True)
    pair("exact loop over the same : open path", around, open_pass, shown=True)


# --- whole charts --------------------------------------------------------------------------------


def drawn(rng: random.Random, bars: int) -> str:
    """A chart of falling fifths and steps with common chord types."""
    root, text = rng.randrange(12), []
    for _ in range(bars):
        text.append(ROOTS[root] + rng.choice(("7", "7", "m7", "m7", "maj7", "6", "m7b5", "7b9")))
        root = (root + rng.choice((5, 5, 5, 11, 2, 9))) % 12
    return "| " + " | ".join(text) + " |"


def chart_rows(rounds: int) -> None:
    """Cost by length."""
    rng = random.Random(4)
    short, long = drawn(rng, 12), drawn(rng, 1200)
    solve(long)
    each = [best_of(3 * rounds, lambda t=t: solve(t)) / n for t, n in ((short, 12), (long, 1200))]
    pair("a step of 1,200 : a step of 12", each[1], each[0])


# --- everything playable -------------------------------------------------------------------------


def dense(layers: list[NDArray[np.int16]], tables: list[NDArray[np.int16]] | None = None) -> int:
    """Least motion by a dense programme, voice by voice in int16; `tables` keeps what it makes."""
    ahead = np.zeros(len(layers[-1]), np.int16)
    for step in range(len(layers) - 2, -1, -1):
        ahead = (table_of(layers, step, tables) + ahead).min(axis=1)
    return int(ahead.min())


def table_of(
    layers: list[NDArray[np.int16]], step: int, tables: list[NDArray[np.int16]] | None
) -> NDArray[np.int16]:
    """Motion of every pair of a step and the next."""
    if tables is not None and len(tables) == len(layers) - 1:
        return tables[step]
    a, b = layers[step], layers[step + 1]
    apart = np.zeros((len(a), len(b)), np.int16)
    for voice in range(a.shape[1]):
        apart += np.abs(a[:, voice, None] - b[None, :, voice])
    if tables is not None:
        tables.insert(0, apart)
    return apart


def peak_mb(work: Callable[[], object]) -> float:
    """Most memory that `work` holds beyond what stood before, in MB."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def playable_rows(voices: int, rounds: int) -> None:
    """`any-playable` beside the dense programme, cold and warm, and the exact loop."""
    setting: dict[str, object] = {
        "families": ["any-playable"],
        "notes": voices,
        "tensions": "available",
    }
    setting |= {"pricing": "none"}
    search = build_problem(charts.parse_chart(CHART), setting)
    layers = [of.upper for of in search.candidates]
    size = search.size()
    print(
        f"-- any-playable, {voices} voices, {size.steps} bars, "
        f"{size.candidates / len(layers):,.0f} candidates a step"
    )
    assert solve(CHART, setting).motion == dense(layers)

    def cold() -> None:
        forget()
        solve(CHART, setting)

    dense_cold = best_of(rounds, lambda: dense(layers))
    six = voices == 6
    each = size.candidates / len(layers)
    name = f"`any-playable`, {voices} voices, {each:,.0f} candidates a step, cold"
    name += " : dense programming in numpy"
    pair(name, best_of(rounds, cold), dense_cold, shown=six)
    tables: list[NDArray[np.int16]] = []
    dense(layers, tables)
    dense_warm = best_of(rounds, lambda: dense(layers, tables))
    tables.clear()
    warm = best_of(3 * rounds, lambda: solve(CHART, setting))
    pair("warm : dense, nothing kept", warm, dense_cold)
    pair("warm : dense, all tables kept", warm, dense_warm)
    forget()
    ours_mb = peak_mb(lambda: solve(CHART, setting))
    pair("… memory : all tables kept", ours_mb, peak_mb(lambda: dense(layers, [])), "MB", six)
    forget()
    ours_mb = peak_mb(lambda: solve(CHART, setting))
    pair("memory cold : dense, nothing kept", ours_mb, peak_mb(lambda: dense(layers)), "MB")
    solve(CHART, setting, loop=True)
    loop = best_of(2 * rounds, lambda: solve(CHART, setting, loop=True))
    pair("… exact loop, warm : open, warm", loop, warm, shown=six)
    priced = setting | {"pricing": "comfort"}
    solve(CHART, priced)
    priced_warm = best_of(2 * rounds, lambda: solve(CHART, priced))
    pair("… with comfort prices, warm : least motion alone", priced_warm, warm, shown=six)


def cold_solve() -> float:
    """A whole process: import, read, solve, print."""
    demo = str(files("shortway.page") / "examples" / "1-brass-key-blues.txt")
    command = [sys.executable, "-m", "shortway", "solve", demo]
    return best_of(3, lambda: subprocess.run(command, check=True, capture_output=True))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="few rounds, for CI")
    rounds = 1 if parser.parse_args().short else 4
    print(machine())
    print(f"  {'ours : compared to':<58} {'ours':>14} {'compared to':>14} {'ratio':>9}")
    kernel_rows(rounds)
    chart_rows(rounds)
    for voices in (5, 6):
        playable_rows(voices, rounds)
    row("`shortway solve`, twelve bars, a whole cold process", f"{cold_solve():.2f} s")


if __name__ == "__main__":
    main()
