"""``POST /v1/paths`` beside a bare Flask view: ``python tests/bench/service.py``.

Two services in turn behind the same gunicorn with the same settings, driven by wrk over loopback:
ours as it is served, its log included, and an application of one view that returns a body of the
same size as a path and does nothing else. Distinct charts are like real ones (`bench.realistic`),
none is sent twice. A load generator in Python would be the bottleneck and hide the difference, so
that wrk is required. A steady load is the exception: requests come at random times (Poisson) at
half the rate that one worker answers, over as many connections as it takes, and a latency counts
from when its request was due (`bench.load.driver`).
"""

from __future__ import annotations

import argparse
import json
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

import psutil
from flask import Flask, Response

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.load.told import Summary
from bench.load.wrk import Load, written
from bench.realistic import charts
from bench.rows import row
from support.loopback import unused_port

# --- the two services -----------------------------------------------------------------------------


def bare(size: int) -> Flask:
    """An application of one view, which returns `size` bytes."""
    app = Flask("bare")
    body = b'"' + b"x" * (size - 2) + b'"'

    @app.post("/v1/paths")
    def paths() -> Response:
        return Response(body, mimetype="application/json")

    return app


def run(size: int, workers: int, port: int) -> None:
    """Serve ours (`size` 0) or the bare one until told to stop, in this process."""
    from shortway.config import load_config
    from shortway.serving.gunicorn_settings import gunicorn_options
    from shortway.serving.serve import Server

    class Bare(Server):
        def load(self) -> Any:
            return bare(size)

    (Bare if size else Server)(gunicorn_options(load_config({}, port=port, workers=workers))).run()


@dataclass(frozen=True)
class Service:
    """A running service: its port, and the process above its workers."""

    port: int
    process: psutil.Process

    @property
    def url(self) -> str:
        """Its base URL."""
        return f"http://127.0.0.1:{self.port}"

    def processor_seconds(self) -> float:
        """Seconds of processor that its workers have used."""
        return sum(sum(each.cpu_times()[:2]) for each in self.process.children())

    def megabytes(self) -> float:
        """Resident memory of its workers, shared pages by their part."""
        return sum(each.memory_full_info().pss for each in self.process.children()) / 1e6


@contextmanager
def serving(size: int = 0, workers: int = 1, numpy: bool = False) -> Iterator[Service]:
    """A service of its own process, which is gone afterwards."""
    port = unused_port()
    command = [sys.executable, __file__, "--serve", str(size), str(workers), str(port)]
    command += ["--numpy"] if numpy else []
    process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    service = Service(port, psutil.Process(process.pid))
    try:
        _wait_for(port, service, workers)
        yield service
    finally:
        process.terminate()
        process.wait(60)


def _wait_for(port: int, service: Service, workers: int) -> None:
    for _ in range(1200):
        if not service.process.is_running():
            break
        with socket.socket() as probe:
            listens = probe.connect_ex(("127.0.0.1", port)) == 0
        if listens and len(service.process.children()) == workers:
            return
        time.sleep(0.05)
    raise SystemExit("a service has not come up")


# --- load -----------------------------------------------------------------------------------------


def answer(url: str, body: bytes) -> bytes:
    """One path."""
    asked = urllib.request.Request(f"{url}/v1/paths", body, {"Content-Type": "application/json"})
    with urllib.request.urlopen(asked, timeout=60) as response:
        found: bytes = response.read()
    return found


@dataclass
class Figures:
    """The best of some rounds: requests a second, and µs of processor for one; latencies in ms."""

    rate: float = 0.0
    cost: float = float("inf")
    latencies: tuple[float, ...] = ()

    def add(self, service: Service, load: Load, mode: str, seconds: float) -> None:
        """Drive `service` for a round."""
        before = service.processor_seconds()
        rate, *latencies = load.drive(service.url, mode, seconds)
        used = service.processor_seconds() - before
        self.cost = min(self.cost, used / (rate * seconds) * 1e6)
        if rate > self.rate:
            self.rate, self.latencies = rate, tuple(latencies)


def warm_up(url: str, count: int) -> None:
    """Ask for so many charts that are not asked for later, four at a time."""
    bodies = [json.dumps({"chart": chart}).encode() for chart in islice(charts(1), count)]
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda body: answer(url, body), bodies))


def measure(
    size: int, loads: dict[str, Load], warm: int, seconds: float, rounds: int, count: int
) -> tuple[dict[str, Figures], Summary]:
    """The figures of each kind, all kinds in turn in every round; then `count` at a steady rate."""
    kinds = ("bare", "distinct", "brief", "numpy", "same", "two workers")
    found = {name: Figures() for name in kinds}
    plain, brief = loads["plain"], loads["brief"]
    with (serving(size) as other, serving() as ours, serving(numpy=True) as slow,
          serving(workers=2) as two):  # fmt: skip
        for service in (ours, slow, two):
            warm_up(service.url, warm)
        for _ in range(rounds):
            found["bare"].add(other, plain, "same", seconds)
            found["distinct"].add(ours, plain, "distinct", seconds)
            found["brief"].add(ours, brief, "distinct", seconds)
            found["numpy"].add(slow, plain, "distinct", seconds)
            found["same"].add(ours, plain, "same", seconds)
            found["two workers"].add(two, plain, "distinct", seconds)
        calm = plain.drive(ours.url, "distinct", 3 * seconds, connections=1)
        found["one client"] = Figures(calm[0], 0.0, tuple(calm[1:]))
        steady = plain.steady(ours.port, found["distinct"].rate / 2, count)
        found["memory"] = Figures(ours.megabytes())
    return found, steady


def first_call(body: bytes) -> tuple[float, int]:
    """Milliseconds of the first path of a service that has just come up, and the answer's bytes."""
    with serving() as service:
        time.sleep(0.5)
        begin = time.perf_counter()
        size = len(answer(service.url, body))
        return (time.perf_counter() - begin) * 1e3, size


def tell(first: float, found: dict[str, Figures], steady: Summary) -> None:
    """Print the rows."""
    bare_view = found["bare"]
    names = {
        "distinct": "`POST /v1/paths`, distinct charts like real ones, one worker",
        "brief": "… `level: brief`",
        "numpy": "… search by numpy",
        "same": "… repeated identical request",
    }
    beside = f"a bare Flask view behind the same gunicorn: {bare_view.rate:,.0f}"
    for name, what in names.items():
        one = found[name]
        share = f"; {one.rate / bare_view.rate:.2f} of it"
        share += f", by processor time {bare_view.cost / one.cost:.2f}"
        row(what, f"{one.rate:,.0f} a second", beside + share)
        beside = "the same"
    one, two = found["distinct"], found["two workers"]
    row(
        "… two workers",
        f"{two.rate:,.0f} a second",
        f"one: {one.rate:,.0f}; {two.rate / one.rate:.2f} times",
    )
    for name, about in (("distinct", "eight clients at once"), ("one client", "one client")):
        figures = ", ".join(f"{each:.1f}" for each in found[name].latencies)
        row(f"… p50, p95, p99, p99.9 with {about}", f"{figures} ms", "–")
    row(
        f"… p50, p99, p99.9 of {steady.requests:,} requests that come at half that rate",
        f"{steady.p50:.1f}, {steady.p99:.1f}, {steady.p999:.1f} ms",
        f"refused: {steady.refused}; this program was late by {steady.lateness:.1f} ms at p99",
    )
    row(
        "… first call after start",
        f"{first:.0f} ms",
        f"memory of the worker after all: {found['memory'].rate:.0f} MB",
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="one quick round")
    parser.add_argument("--serve", nargs=3, type=int, metavar=("SIZE", "WORKERS", "PORT"))
    parser.add_argument("--numpy", action="store_true", help="serve without the compiled search")
    options = parser.parse_args()
    if options.serve:
        if options.numpy:
            from shortway.core.shortest_path import points

            points.NATIVE = False
        run(*options.serve)
        return
    if not shutil.which("wrk"):
        raise SystemExit("wrk is required: apt-get install wrk")
    count, warm, seconds, rounds = (9_000, 200, 2, 1) if options.short else (40_000, 1_500, 3, 3)
    steady = 400 if options.short else 4_000
    with tempfile.TemporaryDirectory() as folder:
        loads = {"plain": written(folder, count), "brief": written(folder, count, level="brief")}
        body = loads["plain"].file.read_bytes().partition(b"\n")[0]
        first, size = first_call(body)
        tell(first, *measure(size, loads, warm, seconds, rounds, steady))


if __name__ == "__main__":
    main()
