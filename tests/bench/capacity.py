"""How many processors a load takes, by its memory for answers: ``python tests/bench/capacity.py``.

Draws requests as the mix and the book have them, lets them through the memory for answers that a
process keeps (the real `shortway.core.cache.Cache`, holding sizes in place of answers), and adds up
what each call was measured to cost (tests/bench/costs.json, written by tests/bench/costs.py;
another file is an argument). Ways to place the memory: each process for itself, behind a balancer
that sends anybody anywhere; the same, behind one that sends equal bodies to the same process
(consistent hashing); one shared Redis beside the processes' own. The last list says which share of
answers Redis has to know before it costs nothing, by kind.

What is assumed and not measured stands in tests/bench/book.py, the mix, and the table below. A
Redis that knows, and hashing at the highest rate, are told at their best: as if all of the book had
been asked for and nothing of it were ever pushed out.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from itertools import islice
from math import ceil
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench import book
from bench.costs import COSTS
from bench.load import mix
from shortway.core.cache import Cache

#: MiB of answers that a process keeps, and the bytes that one takes beside its body, as in
#: shortway/api/memory.py.
OWN_MB, OVERHEAD = 64, 500
#: Processes of a replica, one for each processor; the share of them that is kept busy.
PROCESSES, BUSY = 2, 0.6
LOW, HIGH = 1_000, 100_000
#: Requests to fill the memories, and to count.
WARM, COUNTED = 600_000, 200_000
#: Books: the exponent of the long tail, and the share of charts that are somebody's own.
BOOKS = ((1.0, 0.25), (0.7, 0.25), (1.3, 0.25), (1.0, 0.6))

Costs = dict[str, Any]


@dataclass(frozen=True)
class Asked:
    """A request: its kind's figures, what its answer depends on, and whether it is of the book."""

    call: Costs
    key: Hashable
    of_book: bool


def requests(costs: Costs, zipf: float, own: float) -> list[Asked]:
    """As many as are drawn, of one book."""
    calls = [costs["calls"][kind.name] for kind in mix.MIX]
    drawn = islice(mix.asked(book.Book(1, zipf=zipf, own=own)), WARM + COUNTED)
    return [
        Asked(calls[place], ask.key and (place, ask.key), _of_book(ask.key)) for place, ask in drawn
    ]


def _of_book(key: Hashable) -> bool:
    """Whether others ask for the same: a chart of the book, or a chord's voicings."""
    return key.chart >= 0 if isinstance(key, book.Wish) else isinstance(key, str)


class Memory:
    """A memory for answers of `parts` processes that share out the keys; it holds sizes."""

    def __init__(self, parts: int = 1) -> None:
        budget = parts * OWN_MB * 1024 * 1024
        self.cache: Cache[Hashable, int] = Cache("simulated", budget, lambda size: size + OVERHEAD)

    def knows(self, one: Asked) -> bool:
        """Whether the answer is kept; it is from now on, as far as it may."""
        made: list[int] = []

        def make() -> int:
            made.append(one.call["bytes"])
            return made[0]

        if one.key is not None:
            self.cache.get(one.key, make)
        return one.key is not None and not made


@dataclass(frozen=True)
class Told:
    """Shares of all requests that processes know, that Redis knows; milliseconds for a call."""

    own: float
    shared: float
    cost: float


def told(asked: list[Asked], own: list[bool], redis: Costs | None = None) -> Told:
    """What the counted requests come to, where the processes know `own` of them."""
    shared, cost = 0, 0.0
    for one, known in zip(asked[WARM:], own[WARM:], strict=True):
        cost += one.call["kept_ms" if known else "fresh_ms"]
        if not known and redis and one.key is not None and pays(one.call, redis, 1.0):
            cost += redis["get_ms"]
            if one.of_book:
                shared += 1
                cost += one.call["kept_ms"] - one.call["fresh_ms"]
            else:
                cost += redis["set_ms"]
    return Told(sum(own[WARM:]) / COUNTED, shared / COUNTED, cost / COUNTED)


def pays(call: dict[str, Any], redis: dict[str, float], hits: float) -> bool:
    """Whether asking Redis costs less than it saves, where it knows so many of the answers."""
    saved = hits * (call["fresh_ms"] - call["kept_ms"])
    return bool(saved > redis["get_ms"] + (1 - hits) * redis["set_ms"])


def least_hits(call: dict[str, Any], redis: dict[str, float]) -> float | None:
    """The share of answers that Redis has to know to cost nothing; None: it always costs."""
    spared = call["fresh_ms"] - call["kept_ms"] + redis["set_ms"]
    share = (redis["get_ms"] + redis["set_ms"]) / spared
    return share if share < 1 else None


def replicas(rate: float, cost: float) -> int:
    """How many a load takes."""
    return ceil(rate * cost / 1e3 / (PROCESSES * BUSY))


def plan(costs: Costs, zipf: float, own: float) -> Iterator[tuple[str, Told]]:
    """Each way to place the memory, by name."""
    asked = requests(costs, zipf, own)
    memory = Memory()
    alone = [memory.knows(one) for one in asked]
    yield "each process for itself", (first := told(asked, alone))
    parts = PROCESSES * replicas(LOW, first.cost)
    memory = Memory(parts)
    hashed = [memory.knows(one) for one in asked]
    yield f"equal bodies to the same of {parts} processes", told(asked, hashed)
    yield "… of so many that they know all of the book", told(asked, [a.of_book for a in asked])
    yield "each for itself, then a Redis that knows the book", told(asked, alone, costs["redis"])


def row(name: str, found: Told) -> str:
    """A line of the table."""
    return (
        f"| {name} | {found.own:.0%} | {found.shared:.0%} | {found.cost:.1f} ms"
        f" | {1e3 / found.cost:,.0f} | {replicas(LOW, found.cost):,}"
        f" | {replicas(HIGH, found.cost):,} |"
    )


def size_of_book(costs: Costs) -> float:
    """Gigabytes of all answers of the book, in every key and setting."""
    kinds = [k.name for k in mix.MIX if isinstance(k.make(book.Book(1)).key, book.Wish)]
    each = sum(costs["calls"][name]["bytes"] + OVERHEAD for name in kinds)
    return book.CHARTS * 12 * len(book.SETTINGS) * each / 1e9


def main() -> None:
    """Print the plan."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("file", nargs="?", type=Path, default=COSTS)
    costs = json.loads(parser.parse_args().file.read_text())
    print(f"all answers of the book: {size_of_book(costs):.1f} GB")
    for zipf, own in BOOKS:
        print(f"\n{book.CHARTS:,} charts, tail 1 / n ** {zipf}, {own:.0%} somebody's own")
        print(f"| memory | own | Redis | a call | a second a core | {LOW:,} | {HIGH:,} |")
        print("| --- | --- | --- | --- | --- | --- | --- |")
        for name, found in plan(costs, zipf, own):
            print(row(name, found), flush=True)
    print("\nRedis costs nothing if it knows")
    for kind in (kind for kind in mix.MIX if kind.make(book.Book(1)).key is not None):
        share = least_hits(costs["calls"][kind.name], costs["redis"])
        print(f"  {kind.name:20} {'never' if share is None else format(share, '.1%')}")


if __name__ == "__main__":
    main()
