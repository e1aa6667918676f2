"""Twice what the service can bear, for five minutes: ``python tests/bench/load`` (about 9 minutes).

`shortway serve` with a process for each processor, and this generator beside it: both share the
same processors, so that the service alone would bear more. In turn: a warm-up, until memory stands
still; the latencies of a few requests a second; as many as it answers to people who ask again when
answered; the sustainable rate, which is the highest tried at which the 99th percentile stays within
`WITHIN` times the unloaded one and next to nobody is refused; then twice that rate. Requests come
at random times (Poisson), whatever became of those before; a latency counts from when its request
was due.

Held to: no error but 429 and 503 with Retry-After; the 99th percentile of good answers at most
`REACH` times the unloaded one; memory of all workers at the end at most `GROWTH` above what it was
after the first fifth. ``--short`` (about 40 s, for CI) holds to the errors only: with so few
requests on a busy machine the rest is chance, and is told. ``--json FILE`` writes the figures.

The mix is a table in tests/bench/load/mix.py. locust 2.47 was tried for the driving: 0.4 ms of
processor a request, its start included, where this takes 0.2, and its people wait for answers
before they ask again.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from dataclasses import asdict, dataclass
from itertools import islice
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from bench.load import host, mix
from bench.load.driver import Run, at_rate, in_turn
from bench.load.told import HEAD, Summary, by_kind, row, summary

#: Times the unloaded 99th percentile: at the sustainable rate, and under twice that.
WITHIN, REACH = 3.0, 5.0
#: Share of requests that may be refused at the sustainable rate.
NOBODY = 0.01
GROWTH = 0.05
#: Memory that grows by less in so many seconds is that of a warm service.
STEADY, CHUNK = 0.01, 15.0
#: Shares of the most it can do that are tried as the sustainable rate, the highest first.
TRIED = (0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2)
PEOPLE = 8


@dataclass(frozen=True)
class Plan:
    """How long each part lasts, in seconds; requests a second of an unloaded service."""

    warm: float
    unloaded: float
    low_rate: float
    most: float
    step: float
    over: float


LONG = Plan(warm=300, unloaded=60, low_rate=12, most=15, step=15, over=300)
SHORT = Plan(warm=6, unloaded=6, low_rate=15, most=4, step=3, over=8)


@dataclass
class Found:
    """What a whole measurement found."""

    unloaded: Run
    over: Run
    sustainable: float
    memory: dict[str, float]


def measure(at: host.Host, plan: Plan) -> Found:
    """All parts in turn, with a line for each."""
    print(HEAD)
    warm_up(at, plan.warm)
    unloaded = at_rate(at.port, plan.low_rate, plan.unloaded, mix.drawn(2))
    _tell("unloaded", unloaded)
    closed = in_turn(at.port, PEOPLE, list(islice(mix.drawn(3), int(plan.most * 1500))), plan.most)
    rate = sustainable(at, plan, _tell(f"{PEOPLE} people in turn", closed).rate, unloaded)
    memory = {"start": at.memory()}
    first = at_rate(at.port, 2 * rate, plan.over / 5, mix.drawn(5))
    memory["warm"] = at.memory()
    over = at_rate(at.port, 2 * rate, plan.over * 4 / 5, mix.drawn(6))
    memory["end"] = at.memory()
    over.outcomes[:0], over.lateness[:0] = first.outcomes, first.lateness
    over.seconds, over.processor = over.seconds + first.seconds, over.processor + first.processor
    _tell("twice the sustainable rate", over)
    return Found(unloaded, over, rate, memory)


def warm_up(at: host.Host, most: float) -> None:
    """Ask until memory no longer grows, which it does until the caches are full."""
    until, requests, before = time.monotonic() + most, mix.drawn(1), 0.0
    while time.monotonic() < until and (held := at.memory()) > (1 + STEADY) * before:
        before = held
        in_turn(at.port, PEOPLE, list(islice(requests, 6_000)), min(most, CHUNK))


def sustainable(at: host.Host, plan: Plan, most: float, unloaded: Run) -> float:
    """The highest rate tried that keeps its latencies and refuses next to nobody."""
    bound = WITHIN * summary(unloaded).p99
    for share in TRIED:
        rate = share * most
        found = _tell(f"{share:.0%} of that", at_rate(at.port, rate, plan.step, mix.drawn(4)))
        if found.p99 <= bound and found.refused_share <= NOBODY and not found.errors:
            return rate
    return TRIED[-1] * most


def _tell(name: str, run: Run) -> Summary:
    found = summary(run)
    print(row(name, found), flush=True)
    return found


def judged(found: Found, short: bool) -> list[str]:
    """What is not as it should be, after it is told."""
    before, over = summary(found.unloaded), summary(found.over)
    times = over.p99 / before.p99
    growth = found.memory["end"] / found.memory["warm"] - 1
    print(f"99th percentile under twice the sustainable rate: {times:.1f} times the unloaded one")
    told = " MB, ".join(f"{name} {value:.0f}" for name, value in found.memory.items())
    print(f"memory of the workers: {told} MB; growth after warm-up {growth:.1%}")
    wrong = [f"errors: {over.errors}"] if over.errors else []
    if not short:
        wrong += [f"latency: {times:.1f} times"] if times > REACH else []
        wrong += [f"memory: {growth:.1%} more"] if growth > GROWTH else []
    return wrong


def main() -> None:
    """Measure, tell, and say whether it held."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--short", action="store_true", help="about 40 s; holds to the errors only")
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    parser.add_argument("--json", type=Path, help="write the figures here")
    options = parser.parse_args()
    with host.serving(options.workers) as at:
        found = measure(at, SHORT if options.short else LONG)
        for line in by_kind(found.unloaded, found.over):
            print(line)
    wrong = judged(found, options.short)
    print(f"{options.workers} processes, generator beside them; load average "
          f"{os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")  # fmt: skip
    if options.json:
        told = {"sustainable": found.sustainable, "memory": found.memory,
                "unloaded": asdict(summary(found.unloaded)),
                "over": asdict(summary(found.over))}  # fmt: skip
        options.json.write_text(json.dumps(told, indent=1) + "\n")
    if wrong:
        sys.exit("; ".join(wrong))


if __name__ == "__main__":
    main()
