"""Bodies in crumbs, bodies without end, bodies that are only announced."""

from __future__ import annotations

import socket
from contextlib import suppress

import pytest

from attack.attackers import addresses, connections, counted, status_of
from containers.topology import Nginx
from support.processes import Process

HEAD = b"POST /v1/paths HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
CHUNKED = HEAD + b"Transfer-Encoding: chunked\r\n\r\n"
CRUMBS = b"1\r\n \r\n" * 170_000


def send(sock: socket.socket, data: bytes) -> int:
    """Send what the service takes, and give the status of its answer."""
    with suppress(OSError):
        sock.sendall(data)
    return status_of(sock)


def test_170_000_chunks_of_a_byte_bare(bare: Process) -> None:
    """31 s of processor time before."""
    with counted(bare, bare.port) as cost, connections(bare.port, ["127.1.0.1"], CHUNKED) as (one,):
        assert send(one, CRUMBS) in (411, 0)  # 0: it goes on after its answer, which is lost
    assert cost.cpu < 3
    assert cost.longest < 5


def test_170_000_chunks_of_a_byte_behind_nginx(proxied: Process, nginx: Nginx) -> None:
    with (
        counted(proxied, nginx.port) as cost,
        connections(nginx.port, ["127.1.0.1"], CHUNKED) as (one,),
    ):
        assert send(one, CRUMBS + b"0\r\n\r\n") == 400
    assert cost.cpu < 3
    assert cost.longest < 5


def test_the_answer_to_chunks_is_read_where_they_stop(bare: Process) -> None:
    with connections(bare.port, ["127.1.0.1"], CHUNKED) as (one,):
        assert status_of(one) == 411


@pytest.mark.parametrize("length", [10**7, 10**10, 10**22])
def test_bodies_that_are_announced(bare: Process, length: int) -> None:
    head = HEAD + b"Content-Length: %d\r\n\r\n" % length
    with (
        counted(bare, bare.port) as cost,
        connections(bare.port, list(addresses(16)), head) as found,
    ):
        assert [status_of(sock) for sock in found] == [413] * 16
    assert cost.longest < 10
    assert cost.more_memory < 60
