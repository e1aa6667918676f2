"""What each kind of call costs a process, as JSON: ``python tests/bench/costs.py [FILE]``.

One process of `shortway serve`, warm, asked by one client at a time: processor time of the process
for a request, by kind of the mix (tests/bench/load/mix.py), once for requests that it has not seen
and once for one that comes again and again, and the bytes of an answer. Then a real redis-server on
the loopback: processor time of getting and setting a value of `VALUE` bytes, on both sides.
tests/bench/capacity.py reads the file. ``--short``: too few requests to mean much.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice, repeat
from pathlib import Path
from typing import Any

import psutil

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench import book
from bench.load import mix
from bench.load.driver import Run, in_turn
from bench.load.host import Host, serving
from support.loopback import unused_port

COSTS = Path(__file__).with_name("costs.json")
VALUE = 30_000
Costs = dict[str, Any]


def cost(host: Host, requests: list[tuple[int, bytes]]) -> tuple[float, Run]:
    """Milliseconds of processor for a request, and what came."""
    before = host.processor()
    run = in_turn(host.port, 1, requests)
    spent = (host.processor() - before) * 1e3 / len(requests)
    wrong = [one.status for one in run.outcomes if one.status != 200]
    if wrong:
        raise SystemExit(f"not every answer was good: {wrong[:3]}")
    return spent, run


def of_calls(count: int, seconds: float) -> Iterator[tuple[str, Costs]]:
    """The costs of each kind, from up to `count` requests in about so many seconds each."""
    with serving(1) as host:
        in_turn(host.port, 4, list(islice(mix.drawn(1), count * 3)))
        for place, kind in enumerate(mix.MIX):
            own = book.Book(100 + place, own=1.0)
            pace, _ = cost(host, _asked(kind, place, own, 5))
            number = max(5, min(count, int(seconds * 1e3 / max(pace, 0.1))))
            fresh, run = cost(host, _asked(kind, place, book.Book(200 + place), number))
            number = len(run.outcomes)
            same = list(repeat(_asked(kind, place, own, 1)[0], count))
            kept, _ = cost(host, same)
            size = sum(one.size for one in run.outcomes) / number
            yield kind.name, {"share": kind.share, "fresh_ms": fresh, "kept_ms": kept,
                              "bytes": round(size), "requests": number}  # fmt: skip


def _asked(kind: mix.Kind, place: int, book_: book.Book, number: int) -> list[tuple[int, bytes]]:
    """So many requests of a kind, none of them twice where it has more than a few."""
    found: dict[bytes, None] = {}
    for _ in range(3 * number):
        found[kind.make(book_).encoded()] = None
        if len(found) == number:
            break
    return [(place, request) for request in found]


@contextmanager
def redis_server() -> Iterator[tuple[Any, psutil.Process]]:
    """A client of a redis-server on the loopback that keeps nothing, and the server's process."""
    import redis

    port = unused_port()
    command = ["redis-server", "--port", str(port), "--save", "", "--appendonly", "no"]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    client = redis.Redis(port=port)
    try:
        for _ in range(100):
            try:
                client.ping()
                break
            except redis.ConnectionError:
                time.sleep(0.05)
        yield client, psutil.Process(process.pid)
    finally:
        client.close()
        process.terminate()
        process.wait(10)


def of_redis(count: int) -> Costs:
    """Milliseconds of processor for a get and a set, here and at the server, and of waiting."""
    value, found = os.urandom(VALUE), {}
    with redis_server() as (client, server):
        for name, act in (("set", lambda k: client.set(k % 500, value)),
                          ("get", lambda k: client.get(k % 500))):  # fmt: skip
            here, there, begun = time.process_time(), _used(server), time.perf_counter()
            for k in range(count):
                act(k)
            found[f"{name}_ms"] = (time.process_time() - here) * 1e3 / count
            found[f"{name}_server_ms"] = (_used(server) - there) * 1e3 / count
            found[f"{name}_waited_ms"] = (time.perf_counter() - begun) * 1e3 / count
    return found


def _used(process: psutil.Process) -> float:
    return float(sum(process.cpu_times()[:2]))


def main() -> None:
    """Measure, tell, and write."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("file", nargs="?", type=Path)
    parser.add_argument("--short", action="store_true", help="a few requests; writes no file")
    options = parser.parse_args()
    count, seconds = (30, 0.1) if options.short else (1_000, 3.0)
    calls = dict(of_calls(count, seconds))
    for name, one in calls.items():
        print(f"{name:20} {one['fresh_ms']:7.2f} ms fresh, {one['kept_ms']:5.2f} ms kept,"
              f" {one['bytes']:7,} bytes ({one['requests']:,} requests)")  # fmt: skip
    shared = of_redis(count * 5) if shutil.which("redis-server") else None
    print("redis:", shared and {name: round(ms, 3) for name, ms in shared.items()})
    load = os.getloadavg()[0]
    print(f"load average {load:.1f} on {os.cpu_count()} processors")
    if not options.short:
        told = {"calls": calls, "redis": shared, "load_average": load}
        (options.file or COSTS).write_text(json.dumps(told, indent=1) + "\n")


if __name__ == "__main__":
    main()
