"""Clients that read or send slowly, or are silent: few of them bare, hundreds behind nginx."""

from __future__ import annotations

import json
import time

import pytest

from attack.attackers import addresses, connections, counted, status_of
from containers.topology import Nginx
from support.processes import Process, until

#: A chart whose path is some megabytes long.
LONG_CHART = json.dumps({"chart": {"text": "| Dm7 G7 | Cmaj7 A7 |" * 250}}).encode()
LARGE = (
    b"POST /v1/paths HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
    b"Content-Length: %d\r\n\r\n" % len(LONG_CHART)
) + LONG_CHART
HALF_HEAD = b"GET /v1/families HTTP/1.1\r\nHost: x\r\nX-Slow: "
HALF_BODY = (
    b"POST /v1/paths HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
    b'Content-Length: 100\r\n\r\n{"chart'
)
#: Seconds for which an attack goes on once all its connections are there.
LASTS = 3.0


def size_of_answer(port: int) -> int:
    """Bytes of the large answer, which is cached from then on."""
    last = LARGE.replace(b"Host: x", b"Host: x\r\nConnection: close")
    with connections(port, ["127.1.9.9"], last) as (one,):
        size = 0
        while piece := one.recv(1 << 20):
            size += len(piece)
    return size


def test_16_slow_readers_bare(bare: Process) -> None:
    """At least 16 s before."""
    assert size_of_answer(bare.port) > 1_000_000
    with (
        connections(bare.port, list(addresses(16)), LARGE, receive_buffer=2048) as found,
        counted(bare, bare.port) as cost,
    ):
        assert {sock.recv(12) for sock in found} == {b"HTTP/1.1 200"}
        time.sleep(LASTS)
    assert (cost.refused, cost.longest < 5) == (0, True)


def test_16_slow_heads_and_bodies_bare(bare: Process) -> None:
    with (
        connections(bare.port, list(addresses(16)), HALF_HEAD),
        connections(bare.port, list(addresses(16)), HALF_BODY),
        counted(bare, bare.port) as cost,
    ):
        time.sleep(LASTS)
    assert (cost.refused, cost.longest < 5) == (0, True)


def test_threads_that_half_a_head_holds_are_free_again(bare: Process) -> None:
    """gunicorn itself would wait for ever: all 128 threads are held, for 10 s."""
    with connections(bare.port, list(addresses(200)), HALF_HEAD):
        until(bare.is_up, "an answer")


@pytest.mark.parametrize(
    ("what", "count", "sent", "buffer"),
    [
        ("slow readers", 200, LARGE, 2048),
        ("silent", 2000, b"", 0),
        ("slow heads", 500, HALF_HEAD, 0),
        ("slow bodies", 500, HALF_BODY, 0),
    ],
)
def test_hundreds_behind_nginx(
    proxied: Process, nginx: Nginx, what: str, count: int, sent: bytes, buffer: int
) -> None:
    for _ in range(8):  # so that both workers have it in their caches
        size_of_answer(nginx.port)
    with connections(nginx.port, list(addresses(count)), sent, buffer) as found:
        if what == "slow readers":
            statuses = [sock.recv(12)[-3:] for sock in found]
            assert statuses.count(b"200") > count / 2  # the others were told to come back
        with counted(proxied, nginx.port) as cost:
            time.sleep(LASTS)
    print(f"  {count} {what}")
    assert (cost.refused, cost.longest < 5) == (0, True)
    assert cost.more_memory < 200


def test_nginx_lets_go_of_who_sends_nothing_for_ten_seconds(nginx: Nginx) -> None:
    with connections(nginx.port, list(addresses(20)), HALF_HEAD) as heads:
        began = time.monotonic()
        assert [status_of(sock) for sock in heads] == [0] * 20
        assert 5 < time.monotonic() - began < 30
