"""``POST /v1/paths`` against a bare Flask view: ``python tests/bench/service.py``.

Two services in turn behind the same gunicorn with the same settings, driven by wrk over loopback:
ours, and an application of one view that returns a body of the same size as a path and does
nothing else. A load generator in Python would be the bottleneck and hide the difference; where wrk
is missing, a plain one takes its place and the table says so.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

from flask import Flask, Response

BARS = 32
CONNECTIONS = 8
ROOTS = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
SUFFIXES = ("maj7", "m7", "7", "m7b5", "6", "m6", "9", "13")
JSON = {"Content-Type": "application/json"}

#: wrk's script: `BARS` chords drawn anew for each request, or the same ones for ever.
LUA = """
local roots = {%s}
local suffixes = {%s}
local function body()
  local bars = {}
  for i = 1, %d do
    bars[i] = roots[math.random(#roots)] .. suffixes[math.random(#suffixes)]
  end
  return '{"chart": {"text": "| ' .. table.concat(bars, " | ") .. ' |"}}'
end
local headers = {["Content-Type"] = "application/json"}
local same = nil
function init(args) math.randomseed(os.time()) if args[1] == "same" then same = body() end end
function request() return wrk.format("POST", nil, headers, same or body()) end
"""


def chart_body(rng: random.Random) -> bytes:
    """A request for a chart drawn by `rng`."""
    bars = " | ".join(rng.choice(ROOTS) + rng.choice(SUFFIXES) for _ in range(BARS))
    return f'{{"chart": {{"text": "| {bars} |"}}}}'.encode()


# --- the two services -----------------------------------------------------------------------------


def bare(size: int) -> Flask:
    """An application of one view, which returns `size` bytes."""
    app = Flask("bare")
    body = b'"' + b"x" * (size - 2) + b'"'

    @app.post("/v1/paths")
    def paths() -> Response:
        return Response(body, mimetype="application/json")

    return app


def run(size: int, port: int) -> None:
    """Serve ours (`size` 0) or the bare one until told to stop, in this process."""
    from shortway.config import load_config
    from shortway.serving.gunicorn_settings import gunicorn_options
    from shortway.serving.serve import Server

    class Bare(Server):
        def load(self) -> Any:
            return bare(size)

    values = gunicorn_options(load_config({}, port=port, workers=1)) | {"loglevel": "error"}
    (Bare if size else Server)(values).run()


@dataclass(frozen=True)
class Service:
    """A running service: its base URL, and the process above its worker."""

    url: str
    pid: int

    def processor_seconds(self) -> float:
        """Seconds of processor that its worker has used; nought where there is no /proc."""
        children = Path(f"/proc/{self.pid}/task/{self.pid}/children")
        if not children.exists():
            return 0.0
        ticks = 0
        for pid in children.read_text().split():
            fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
            ticks += int(fields[11]) + int(fields[12])
        return ticks / os.sysconf("SC_CLK_TCK")


@contextmanager
def serving(size: int = 0) -> Iterator[Service]:
    """A service of its own process, which is gone afterwards."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    command = [sys.executable, __file__, "--serve", str(size), str(port)]
    process = subprocess.Popen(command)
    try:
        _wait_for(port, process)
        yield Service(f"http://127.0.0.1:{port}", process.pid)
    finally:
        process.terminate()
        process.wait(30)


def _wait_for(port: int, process: subprocess.Popen[bytes]) -> None:
    for _ in range(200):
        if process.poll() is not None:
            raise SystemExit("a service has not come up")
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise SystemExit("a service has not come up")


# --- load -----------------------------------------------------------------------------------------


def rate(url: str, mode: str, seconds: float) -> float:
    """Good answers a second, `mode` being ``same`` or ``distinct`` requests.

    Raises
    ------
    SystemExit
        If any answer was not a good one.
    """
    return _wrk(url, mode, seconds) if shutil.which("wrk") else _plain(url, mode, seconds)


def _wrk(url: str, mode: str, seconds: float) -> float:
    with tempfile.NamedTemporaryFile("w", suffix=".lua") as script:
        quoted = [", ".join(f'"{word}"' for word in words) for words in (ROOTS, SUFFIXES)]
        script.write(LUA % (*quoted, BARS))
        script.flush()
        command = ["wrk", "-t1", f"-c{CONNECTIONS}", f"-d{max(1, round(seconds))}s"]
        command += ["-s", script.name, f"{url}/v1/paths", "--", mode]
        said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    if "Non-2xx" in said or "Socket errors" in said:
        raise SystemExit(f"not every answer was good:\n{said}")
    found = re.search(r"Requests/sec:\s+([\d.]+)", said)
    assert found is not None, said
    return float(found[1])


def _plain(url: str, mode: str, seconds: float) -> float:
    """The same in plain Python, which is itself the bottleneck."""
    until = time.monotonic() + seconds
    counts: list[int] = []

    def drive(seed: int) -> None:
        rng, count = random.Random(seed), 0
        connection = HTTPConnection(url.removeprefix("http://"), timeout=30)
        body = chart_body(rng)
        while time.monotonic() < until:
            body = body if mode == "same" else chart_body(rng)
            connection.request("POST", "/v1/paths", body, JSON)
            response = connection.getresponse()
            response.read()
            count += response.status == 200
        connection.close()
        counts.append(count)

    threads = [threading.Thread(target=drive, args=(k,)) for k in range(CONNECTIONS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sum(counts) / seconds


def answer_size(url: str) -> int:
    """Bytes of one path."""
    request = urllib.request.Request(f"{url}/v1/paths", chart_body(random.Random(32)), JSON)
    with urllib.request.urlopen(request, timeout=60) as response:
        return len(response.read())


@dataclass
class Figures:
    """The best of some rounds: requests a second, and microseconds of processor for one."""

    rate: float = 0.0
    cost: float = float("inf")

    def add(self, service: Service, mode: str, seconds: float) -> None:
        """Drive `service` for a round."""
        before = service.processor_seconds()
        found = rate(service.url, mode, seconds)
        used = service.processor_seconds() - before
        self.rate = max(self.rate, found)
        self.cost = min(self.cost, used / (found * seconds) * 1e6)


def measure(seconds: float, rounds: int) -> dict[str, Figures]:
    """The figures of each kind, all kinds in turn in every round."""
    found = {name: Figures() for name in ("bare", "distinct", "same")}
    with serving() as ours, serving(answer_size(ours.url)) as other:
        rate(ours.url, "distinct", 1)
        for _ in range(rounds):
            found["bare"].add(other, "distinct", seconds)
            found["distinct"].add(ours, "distinct", seconds)
            found["same"].add(ours, "same", seconds)
    return found


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="one quick round")
    parser.add_argument("--serve", nargs=2, type=int, metavar=("SIZE", "PORT"))
    options = parser.parse_args()
    if options.serve:
        run(*options.serve)
        return
    driver = "wrk" if shutil.which("wrk") else "plain Python, for want of wrk: no fair measure"
    found = measure(1, 1) if options.short else measure(3, 5)
    bare = found["bare"]
    print(f"POST /v1/paths, {BARS} bars, one worker of 4 threads, driven by {driver}")
    print(f"{'':18}  a second   share  reach   processor µs  share")
    for name, about, reach in (
        ("bare", "bare Flask view", 1.0),
        ("distinct", "distinct charts", 0.25),
        ("same", "repeated request", 0.75),
    ):
        told = found[name]
        print(
            f"{about:18}  {told.rate:8.0f}  {told.rate / bare.rate:6.2f}  {reach:5.2f}"
            f"   {told.cost:12.0f}  {bare.cost / (told.cost or 1):5.2f}"
        )
    print(f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")


if __name__ == "__main__":
    main()
