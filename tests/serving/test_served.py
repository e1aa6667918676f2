"""Batches as `shortway serve` serves them, in processes of their own: streaming, aborts, memory."""

from __future__ import annotations

import itertools
import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import pytest

from support.processes import LONG, serving
from support.processes import until as wait_until

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="reads Linux's /proc"),
]

IDLE = 1
HEAD = b"POST /v1/batches HTTP/1.1\r\nHost: x\r\nContent-Type: application/jsonl\r\n"
CHUNKED = HEAD + b"Transfer-Encoding: chunked\r\n\r\n"
BARS = ("| Dm7 | G7 |", "| Fm7 | Bb7 |", "| C | F |", "| Gm7 | C7 | F |", "| Em7b5 | A7 |")


@dataclass(frozen=True)
class Service:
    """A served process and its one worker."""

    port: int
    worker: int

    def connect(self) -> socket.socket:
        found = socket.create_connection(("127.0.0.1", self.port))
        found.settimeout(LONG)
        return found

    def memory(self) -> int:
        """Resident bytes of the worker."""
        pages = int(Path(f"/proc/{self.worker}/statm").read_text().split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE")

    def open_files(self) -> int:
        return len(os.listdir(f"/proc/{self.worker}/fd"))

    def is_well(self) -> bool:
        """Whether more requests than there are threads are answered at once."""
        connections = [self.connect() for _ in range(6)]
        for connection in connections:
            connection.sendall(b"GET /v1/rhythms HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
        found = [answered(connection, b"HTTP/1.1 200 ") for connection in connections]
        return all(found)


@pytest.fixture(scope="module")
def service() -> Iterator[Service]:
    with serving(BATCH_IDLE_SECONDS=str(IDLE), MAX_BATCHES="8") as process:
        [worker] = process.workers()
        yield Service(process.port, worker)


def line(number: int) -> bytes:
    return (
        json.dumps({"id": str(number), "chart": {"text": BARS[number % len(BARS)]}}).encode()
        + b"\n"
    )


def chunk(data: bytes) -> bytes:
    return b"%x\r\n%b\r\n" % (len(data), data)


def ids(said: Iterator[bytes]) -> Iterator[str]:
    for answer in said:
        found = json.loads(answer)
        assert found["path"]
        yield found["id"]


def at_rest(service: Service) -> int:
    """Open files once the connections of earlier tests are gone: as many at ten looks in a row."""
    assert service.is_well()
    looks = [service.open_files()]
    while len(looks) < 10 or len(set(looks[-10:])) > 1:
        time.sleep(0.02)
        looks.append(service.open_files())
    return looks[-1]


def settled(service: Service, files: int) -> bool:
    """Whether the worker comes back to as many open files as before."""
    return bool(wait_until(lambda: service.open_files() <= files, "closed connections"))


def answered(connection: socket.socket, said: bytes) -> bool:
    """Whether `said` comes; closes at once, since gunicorn waits for that."""
    with closing(connection):
        return said in until(connection, b"}")


def until(connection: socket.socket, mark: bytes) -> bytes:
    """What comes until `mark` has."""
    found = b""
    while mark not in found:
        piece = connection.recv(65_536)
        assert piece, found[-300:]
        found += piece
    return found


def flood(connection: socket.socket) -> None:
    """Send lines for ever."""
    while True:
        connection.sendall(chunk(line(0) * 1000))


# --- both ways at once ----------------------------------------------------------------------------


@pytest.mark.parametrize("chunked", [True, False])
def test_an_answer_comes_before_the_next_line_is_sent(service: Service, chunked: bool) -> None:
    lines = [line(k) for k in range(4)]
    length = b"Content-Length: %d\r\n\r\n" % sum(map(len, lines))
    with closing(service.connect()) as connection:
        connection.sendall(CHUNKED if chunked else HEAD + length)
        for k, each in enumerate(lines):
            connection.sendall(chunk(each) if chunked else each)
            until(connection, b'{"id":"%d"' % k)
            time.sleep(0.01)
        if chunked:
            connection.sendall(b"0\r\n\r\n")
        connection.sendall(b"GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n")
        assert b'{"status":"ok"}' in until(connection, b'"ok"}')


def test_twenty_thousand_lines_take_no_more_memory_than_two(service: Service) -> None:
    def drive(count: int) -> int:
        connection = HTTPConnection("127.0.0.1", service.port, timeout=60)
        body = b"".join(map(line, range(250)))
        told = 0
        for _ in range(0, count, 250):
            headers = {"Content-Type": "application/jsonl"}
            connection.request("POST", "/v1/batches", body, headers)
            told += sum(1 for _ in ids(iter(connection.getresponse())))
        connection.close()
        return told

    assert drive(2_000) == 2_000
    before = service.memory()
    assert drive(20_000) == 20_000
    assert service.memory() - before < 8 * 1024 * 1024


def test_one_batch_of_many_lines_takes_no_more_memory_than_a_few(service: Service) -> None:
    """20,000 lines in one call, sent by a thread of its own while the answers are read."""
    before = service.memory()
    body = (line(k) for k in itertools.count())
    command = [sys.executable, "-c", SENDER, str(service.port)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as sender:
        assert sender.stdin is not None
        assert sender.stdout is not None
        sender.stdin.write(b"".join(itertools.islice(body, 20_000)))
        sender.stdin.close()
        assert sender.stdout.read().split() == [b"20000", b"0", b"19999"]
    assert service.memory() - before < 8 * 1024 * 1024


#: Sends its input in chunks, and reads the answers on the other side of the same connection.
SENDER = """
import socket, sys, threading, json
data = sys.stdin.buffer.read()
sock = socket.create_connection(("127.0.0.1", int(sys.argv[1])))
head = b"POST /v1/batches HTTP/1.1\\r\\nHost: x\\r\\nContent-Type: application/jsonl\\r\\n"
def send():
    sock.sendall(head + b"Transfer-Encoding: chunked\\r\\nConnection: close\\r\\n\\r\\n")
    for k in range(0, len(data), 5000):
        piece = data[k : k + 5000]
        sock.sendall(b"%x\\r\\n%b\\r\\n" % (len(piece), piece))
    sock.sendall(b"0\\r\\n\\r\\n")
thread = threading.Thread(target=send)
thread.start()
import http.client
response = http.client.HTTPResponse(sock)
response.begin()
ids = [json.loads(line)["id"] for line in response]
thread.join()
print(len(ids), ids[0], ids[-1])
"""


# --- clients that stop ----------------------------------------------------------------------------


def test_a_client_that_goes_away_leaves_nothing_behind(service: Service) -> None:
    files = at_rest(service)
    for k in range(8):
        connection = service.connect()
        connection.sendall(CHUNKED + chunk(line(0) * 50))
        if k % 2:
            until(connection, b'{"id":"0"')
        connection.close()
    assert service.is_well()
    assert settled(service, files)


def test_a_client_that_neither_sends_nor_goes_is_told_and_let_go(service: Service) -> None:
    files = at_rest(service)
    connections = [service.connect() for _ in range(5)]
    for connection in connections:
        connection.sendall(CHUNKED + chunk(line(0) + b'{"id":'))
    for connection in connections:
        said = until(connection, b"body-incomplete")
        assert b'{"id":null,"line":2' in said
        connection.close()
    assert service.is_well()
    assert settled(service, files)


def test_a_client_that_does_not_read_is_let_go(service: Service) -> None:
    files = at_rest(service)
    connection = service.connect()
    connection.settimeout(0.5)
    connection.sendall(CHUNKED)
    with pytest.raises(OSError, match=r"timed out|Broken pipe|reset"):
        flood(connection)
    assert service.is_well()
    assert settled(service, files + 1)
    connection.close()
    assert settled(service, files)


def test_half_a_body_is_said_to_be_half(service: Service) -> None:
    with closing(service.connect()) as connection:
        connection.sendall(HEAD + b"Content-Length: 500\r\n\r\n" + line(0) + line(1)[:9])
        connection.shutdown(socket.SHUT_WR)
        said = until(connection, b"body-incomplete")
    assert b'{"id":null,"line":2' in said


@pytest.mark.parametrize("rest", [b"zz\r\n", b"5\r\nabc"])
def test_chunks_that_are_none(service: Service, rest: bytes) -> None:
    with closing(service.connect()) as connection:
        connection.sendall(CHUNKED + chunk(line(0)) + rest)
        connection.shutdown(socket.SHUT_WR)
        said = until(connection, b"body-incomplete")
    assert b'{"id":"0","line":1,"path":{' in said


def test_after_chunks_that_are_none_no_request_is_read(service: Service) -> None:
    """What follows is no request of the client's, whatever it looks like."""
    with closing(service.connect()) as connection:
        hidden = b"GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n"
        connection.sendall(CHUNKED + chunk(line(0)) + b"zz\r\n" + hidden)
        said = b""
        while piece := connection.recv(65_536):
            said += piece
    assert said.count(b"HTTP/1.1 ") == 1
    assert b"body-incomplete" in said


def test_a_refused_batch_is_answered_though_it_goes_on(service: Service) -> None:
    head: Any = HEAD.replace(b"jsonl", b"xml")
    with closing(service.connect()) as connection:
        connection.sendall(head + b"Transfer-Encoding: chunked\r\n\r\n" + chunk(line(0)))
        assert b" 415 " in until(connection, b"}")
