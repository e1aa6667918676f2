"""Who may wait, and who is refused at once, by a served process with one thread.

The status and Retry-After are RFC 9110's, sections 15.6.4 and 10.2.3; that a server which refuses
goes on reading until its client closes is RFC 9112's, section 9.6; who may read an answer is the
Fetch standard's (CORS protocol).
"""

from __future__ import annotations

import itertools
import json
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from urllib.parse import urlsplit

import pytest

from shortway.api.middleware.cors import EXPOSED_HEADERS
from shortway_client import Client
from support.running import running

pytestmark = pytest.mark.slow

WAITING = 2
OURS = "https://app.example"
#: Seconds within which a machine that is busy with other things answers what waits for nobody.
AT_ONCE = 5.0
BATCH = (
    b"POST /v1/batches HTTP/1.1\r\nHost: x\r\nContent-Type: application/jsonl\r\n"
    b"Transfer-Encoding: chunked\r\n\r\n"
)
LINE = b'{"id": "1", "chart": "| Dm7 | G7 |"}\n'
ASK = b"GET /v1/chords?symbol=Dm7 HTTP/1.1\r\nHost: x\r\n\r\n"


@pytest.fixture(scope="module")
def url() -> Iterator[str]:
    waiting = str(WAITING)
    with running(
        1, SHORTWAY_THREADS="1", SHORTWAY_MOST_WAITING=waiting, SHORTWAY_CORS_ORIGINS=OURS
    ) as found:
        yield found


def connected(url: str) -> socket.socket:
    address = urlsplit(url)
    assert address.hostname is not None
    assert address.port is not None
    return socket.create_connection((address.hostname, address.port), timeout=AT_ONCE)


@contextmanager
def full(url: str) -> Iterator[None]:
    """While the only thread is held by a batch that goes on, and as many wait as may.

    Those who wait are answered in the end.
    """
    with closing(connected(url)) as batch:
        batch.sendall(BATCH + b"%x\r\n%b\r\n" % (len(LINE), LINE))
        assert b'"path"' in until(batch, b'"path"')
        waiting = [connected(url) for _ in range(WAITING)]
        for connection in waiting:
            connection.sendall(ASK)
        assert asked(url, ASK)[0] == 503
        yield
        batch.sendall(b"0\r\n\r\n")
        for connection in waiting:
            with closing(connection):
                assert b" 200 " in until(connection, b'"Dm7"')


def until(connection: socket.socket, mark: bytes) -> bytes:
    """What comes until `mark` has, or all of it."""
    found = b""
    while mark not in found and (piece := connection.recv(65_536)):
        found += piece
    return found


def asked(url: str, request: bytes) -> tuple[int, dict[str, str], bytes]:
    """Status, headers and body of the answer to `request`, and that the connection ends."""
    with closing(connected(url)) as connection:
        connection.sendall(request)
        head, _, body = until(connection, b"never").partition(b"\r\n\r\n")
    first, *lines = head.decode().split("\r\n")
    headers = dict(line.lower().split(": ", 1) for line in lines)
    return int(first.split()[1]), headers, body


def test_whoever_could_only_wait_too_long_is_refused_before_a_body_is_read(url: str) -> None:
    """Nothing of the body is ever sent."""
    head = b"POST /v1/paths HTTP/1.1\r\nHost: x\r\nContent-Length: 100\r\n\r\n"
    with full(url):
        status, headers, body = asked(url, head)
    problem = json.loads(body)
    assert (status, problem["status"], problem["code"]) == (503, 503, "unavailable")
    assert headers["content-type"] == "application/problem+json"
    assert headers["connection"] == "close"
    assert 1 <= int(headers["retry-after"]) <= 3


@pytest.mark.parametrize(
    ("line", "may_read"),
    [
        (f"Origin: {OURS}", True),
        (f"oRIGIN:{OURS} ", True),
        (f"Origin: {OURS}.evil.example", False),
        ("Origin: null", False),
        (f"X-Origin: {OURS}", False),
        (f"Content-Length: 99\r\n\r\nOrigin: {OURS}\r\n", False),
    ],
)
def test_an_allowed_page_may_read_that_it_is_refused(url: str, line: str, may_read: bool) -> None:
    """And when to come back. What stands in a body is no header."""
    with full(url):
        request = f"POST /v1/paths HTTP/1.1\r\nHost: x\r\n{line}\r\nAccept: */*\r\n\r\n"
        status, headers, _ = asked(url, request.encode())
    assert (status, headers.get("access-control-allow-origin")) == (503, OURS if may_read else None)
    shown = headers.get("access-control-expose-headers")
    assert shown == (", ".join(EXPOSED_HEADERS).lower() if may_read else None)


def test_an_allowed_page_may_read_that_a_body_is_too_large(url: str) -> None:
    head = f"POST /v1/paths HTTP/1.1\r\nHost: x\r\nOrigin: {OURS}\r\n"
    status, headers, _ = asked(url, f"{head}Content-Length: 9999999\r\n\r\n".encode())
    assert (status, headers["access-control-allow-origin"]) == (413, OURS)


def test_a_refusal_has_its_clients_own_id_if_that_is_a_sane_one(url: str) -> None:
    for given, is_kept in (("tune-7", True), ("<tune>", False)):
        head = f"POST /v1/paths HTTP/1.1\r\nHost: x\r\nX-Request-Id: {given}\r\n"
        _, headers, _ = asked(url, f"{head}Content-Length: 9999999\r\n\r\n".encode())
        assert (headers["x-request-id"] == given) == is_kept


def test_nobody_is_refused_once_there_is_room_again(url: str) -> None:
    with full(url):
        pass
    with closing(connected(url)) as connection:
        for _ in range(WAITING + 3):
            connection.sendall(ASK)
            assert b" 200 " in until(connection, b'"Dm7"')


def test_a_kept_connection_is_refused_as_well(url: str) -> None:
    with closing(connected(url)) as kept:
        kept.sendall(ASK)
        assert b" 200 " in until(kept, b'"Dm7"')
        with full(url):
            kept.sendall(ASK)
            assert b" 503 " in until(kept, b"never")


@pytest.mark.parametrize("probe", [b"GET /healthz", b"GET /readyz", b"HEAD /healthz"])
def test_probes_are_answered_by_a_process_that_is_full(url: str, probe: bytes) -> None:
    with full(url):
        request = probe + b" HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"
        for _ in range(2):
            assert asked(url, request)[0] == 200


def test_half_a_probe_holds_no_other_probe(url: str) -> None:
    with closing(connected(url)) as half, full(url):
        half.sendall(b"GET /healthz HTTP/1.1\r\nHost: x\r\n")
        rest = b"GET /healthz HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"
        assert asked(url, rest)[0] == 200


def test_connections_that_say_nothing_take_no_thread_and_no_place(url: str) -> None:
    silent = [connected(url) for _ in range(WAITING + 5)]
    try:
        time.sleep(0.2)
        status, _, _ = asked(url, ASK.replace(b"\r\n\r\n", b"\r\nConnection: close\r\n\r\n"))
        assert status == 200
        silent[-1].sendall(ASK)
        assert b" 200 " in until(silent[-1], b'"Dm7"')
    finally:
        for connection in silent:
            connection.close()


def test_a_client_that_is_refused_comes_back_by_itself(url: str) -> None:
    """shortway_client waits as long as it is told to, and asks again."""
    found: list[str] = []

    def ask() -> None:
        with Client(url, retries=4) as client:
            found.append(client.chord("Dm7").symbol)

    with full(url):
        asking = threading.Thread(target=ask)
        asking.start()
        time.sleep(0.5)
        assert not found
    asking.join(20)
    assert found == ["Dm7"]


def test_a_client_that_does_not_close_holds_up_nobody(url: str) -> None:
    """Gunicorn waits for it on the main thread, two seconds each."""
    closing_ask = ASK.replace(b"\r\n\r\n", b"\r\nConnection: close\r\n\r\n")
    stays = [connected(url) for _ in range(WAITING)]
    for connection in stays:
        connection.sendall(closing_ask)
        assert b" 200 " in until(connection, b"never")
    begun = time.monotonic()
    assert asked(url, closing_ask)[0] == 200
    assert time.monotonic() - begun < 1.5
    for connection in stays:
        connection.close()


def test_silent_connections_do_not_hold_up_a_stop() -> None:
    with running(1) as url:
        silent = [connected(url) for _ in range(3)]
        time.sleep(0.2)
        begun = time.monotonic()
    assert time.monotonic() - begun < 8
    assert list(itertools.chain.from_iterable(c.recv(1) for c in silent)) == []
    for connection in silent:
        connection.close()
