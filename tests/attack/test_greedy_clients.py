"""One client with many connections, and more requests than can be computed."""

from __future__ import annotations

import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager

from attack.attackers import HONEST, ask_honestly, counted
from containers.topology import Nginx
from support.processes import Process

GREEDY = "127.1.0.1"
#: Requests of the honest clients, each of another address.
HONESTLY = 25


@contextmanager
def greedy(port: int, connections: int = 64) -> Iterator[Counter[int]]:
    """A client that asks on many connections, again at once whatever the answer is."""
    statuses: Counter[int] = Counter()
    over = threading.Event()

    def ask(number: int) -> None:
        while not over.is_set():
            try:
                statuses[ask_honestly(port, f"{number} {time.monotonic()}", GREEDY)] += 1
            except OSError:
                statuses[0] += 1

    threads = [threading.Thread(target=ask, args=(number,)) for number in range(connections)]
    for thread in threads:
        thread.start()
    try:
        time.sleep(1)
        yield statuses
    finally:
        over.set()
        for thread in threads:
            thread.join()
        print(f"\n  greedy client: {dict(statuses)}")


def others(port: int) -> Counter[int]:
    """The statuses that others get meanwhile."""
    return Counter(
        ask_honestly(port, f"honest {k}", f"127.2.0.{k % 5 + 1}") for k in range(HONESTLY)
    )


def test_64_connections_of_one_client_behind_nginx(proxied: Process, nginx: Nginx) -> None:
    """36 of 37 requests of others were refused before."""
    with greedy(nginx.port), counted(proxied, nginx.port) as cost:
        assert others(nginx.port) == {200: HONESTLY}
    assert (cost.refused, cost.longest < 10) == (0, True)


def test_64_connections_of_one_client_bare(bare: Process) -> None:
    """The threads are shared by all, the places are not."""
    with greedy(bare.port), counted(bare, bare.port) as cost:
        assert others(bare.port) == {200: HONESTLY}
    assert (cost.refused, cost.longest < 10) == (0, True)


def test_overload_is_refused_in_time_and_health_checks_pass(bare: Process) -> None:
    """As many clients as connections: none has less than another, so some are refused."""
    statuses: Counter[int] = Counter()
    over = threading.Event()

    def ask(number: int) -> None:
        while not over.is_set():
            statuses[ask_honestly(bare.port, f"{time.monotonic()}", f"127.3.0.{number + 1}")] += 1

    threads = [threading.Thread(target=ask, args=(number,)) for number in range(80)]
    for thread in threads:
        thread.start()
    waits = []
    for _ in range(20):
        began = time.monotonic()
        assert bare.ask("/healthz")[0] == 200
        waits.append(time.monotonic() - began)
        time.sleep(0.1)
    over.set()
    for thread in threads:
        thread.join()
    print(f"\n  80 clients: {dict(statuses)}; longest health check {max(waits):.2f} s")
    assert set(statuses) <= {200, 503}
    assert statuses[200] > statuses[503] / 100
    assert max(waits) < 5
    assert ask_honestly(bare.port, "after", HONEST) == 200
