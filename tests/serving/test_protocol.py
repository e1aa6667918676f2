"""HTTP that is none, or is meant to be taken two ways, against the service as it is served.

Where a request ends must never be in doubt (RFC 9112, sections 6.3 and 11.2): what could be read in
two ways is rejected, and nothing after it is taken for a request.
"""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from contextlib import closing

import pytest

from support.processes import LONG, Process, serving
from support.tables import each_row

HOST = b"Host: x\r\n"
GET = b"GET /v1/rhythms HTTP/1.1\r\n" + HOST
POST = b"POST /v1/chords HTTP/1.1\r\n" + HOST + b"Content-Type: application/json\r\n"
CHUNKED = POST + b"Transfer-Encoding: chunked\r\n\r\n"
BODY = b'{"symbols":["C"]}'
CHUNK = b"11\r\n" + BODY + b"\r\n0\r\n\r\n"
#: A request behind another one, which must not be found by a reader who was led astray.
HIDDEN = b"GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n"


@pytest.fixture(scope="module")
def service() -> Iterator[Process]:
    with serving() as found:
        yield found
        assert found.is_up()
        assert "Traceback" not in found.log()


def connected(service: Process) -> socket.socket:
    return socket.create_connection(("127.0.0.1", service.port), LONG)


def said(connection: socket.socket) -> bytes:
    """All that comes until the service closes."""
    found = b""
    while piece := connection.recv(65_536):
        found += piece
    return found


def answers(raw: bytes) -> list[int]:
    """The status of each answer in `raw`."""
    heads = raw.replace(b"HTTP/1.0 ", b"HTTP/1.1 ").split(b"HTTP/1.1 ")[1:]
    return [int(head[:3]) for head in heads]


REFUSED = {
    # where the body ends
    "two lengths": (400, POST + b"Content-Length: 17\r\nContent-Length: 3\r\n\r\n" + BODY),
    "a list of lengths": (400, POST + b"Content-Length: 17, 17\r\n\r\n" + BODY),
    "a length with a sign": (400, POST + b"Content-Length: +17\r\n\r\n" + BODY),
    "a length below nothing": (400, POST + b"Content-Length: -1\r\n\r\n"),
    "a length in another base": (400, POST + b"Content-Length: 0x11\r\n\r\n" + BODY),
    "a length in superscript": (400, POST + b"Content-Length: \xb9\xb2\r\n\r\n" + BODY),
    "a length and chunks": (
        400, POST + b"Content-Length: 17\r\nTransfer-Encoding: chunked\r\n\r\n" + CHUNK
    ),
    "chunks and a length": (
        400, POST + b"Transfer-Encoding: chunked\r\nContent-Length: 3\r\n\r\n" + CHUNK
    ),
    "chunks in chunks": (
        400, POST + b"Transfer-Encoding: chunked\r\nTransfer-Encoding: chunked\r\n\r\n" + CHUNK
    ),
    "chunks and not": (400, POST + b"Transfer-Encoding: chunked, identity\r\n\r\n" + CHUNK),
    "a coding that is not known": (501, POST + b"Transfer-Encoding: xchunked\r\n\r\n" + CHUNK),
    "a blank before the colon": (400, POST + b"Transfer-Encoding : chunked\r\n\r\n" + CHUNK),
    "a coding on two lines": (400, POST + b"Transfer-Encoding:\r\n chunked\r\n\r\n" + CHUNK),
    "a coding behind a tab": (400, POST + b"Transfer-Encoding: \x0bchunked\r\n\r\n" + CHUNK),
    "chunks in HTTP/1.0": (400, CHUNKED.replace(b"HTTP/1.1", b"HTTP/1.0") + CHUNK),
    "a chunk's size in C": (411, CHUNKED + b"0x11\r\n" + BODY + b"\r\n0\r\n\r\n"),
    "a chunk's size with a sign": (411, CHUNKED + b"-11\r\n" + BODY + b"\r\n0\r\n\r\n"),
    "a chunk longer than it says": (411, CHUNKED + b"10\r\n" + BODY + b"\r\n0\r\n\r\n"),
    "a chunk's size of 9 kB": (411, CHUNKED + b"0" * 9000),
    # too much
    "a line of 9 kB": (414, b"GET /" + b"a" * 9000 + b" HTTP/1.1\r\n" + HOST + b"\r\n"),
    "a header of 9 kB": (431, GET + b"X: " + b"a" * 9000 + b"\r\n\r\n"),
    "seventy headers": (431, GET + b"X: 1\r\n" * 70 + b"\r\n"),
    "a line without end": (414, b"GET /" + b"a" * 100_000),
    "a body of 2 MB, announced": (413, POST + b"Content-Length: 2000000\r\n\r\n"),
    "a body of 10^22 bytes": (413, POST + b"Content-Length: 1" + b"0" * 22 + b"\r\n\r\n"),
    "a chunk of 2^72 bytes": (411, CHUNKED + b"1" + b"0" * 18 + b"\r\n"),
    "a body of 2 MB, in chunks": (411, CHUNKED + (b"8000\r\n" + b" " * 32_768 + b"\r\n") * 64),
    "a body of crumbs": (411, CHUNKED + b"1;" + b"a" * 8000 + b"\r\n \r\n" + (
        b"1;" + b"a" * 8000 + b"\r\n \r\n") * 150),
    # no HTTP
    "a NUL in a value": (400, GET + b"X: a\0b\r\n\r\n"),
    "a NUL in a name": (400, GET + b"X\0: a\r\n\r\n"),
    "a NUL in the address": (400, b"GET /v1/\0rhythms HTTP/1.1\r\n" + HOST + b"\r\n"),
    "a bare CR": (400, GET + b"X: a\rY: b\r\n\r\n"),
    "bare LFs": (400, GET.replace(b"\r\n", b"\n") + b"\n"),
    "a header on two lines": (400, GET + b"X: a\r\n b\r\n\r\n"),
    "a header without a colon": (400, GET + b"Xa\r\n\r\n"),
    "a blank in a name": (400, GET + b"X a: 1\r\n\r\n"),
    "two hosts": (400, GET + b"Host: y\r\n\r\n"),
    "HTTP/0.9": (400, b"GET /v1/rhythms\r\n\r\n"),
    "HTTP/2 without asking": (400, b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"),
    "TLS": (400, bytes.fromhex("16030100a5010000a10303") + b"\0" * 100 + b"\r\n\r\n"),
    "a proxy's line": (400, b"PROXY TCP4 192.0.2.1 192.0.2.2 1 2\r\n" + GET + b"\r\n"),
    "another expectation": (417, POST + b"Expect: 200-ok\r\nContent-Length: 17\r\n\r\n" + BODY),
}  # fmt: skip


@each_row("what", REFUSED)
def test_rejected_and_nothing_read_after_it(service: Process, what: str) -> None:
    """By gunicorn itself, or by a problem of the application's."""
    status, raw = REFUSED[what]
    with closing(connected(service)) as connection:
        connection.sendall(raw)
        if len(raw) < 70_000:  # the others are in the midst of what they send
            connection.sendall(HIDDEN)
        found = said(connection)
    first, *rest = answers(found)
    assert (first, set(rest) - {400}) == (status, set())  # of an odd chunk gunicorn says so, too
    assert (b"application/problem+json" in found) == (status in (411, 413))


ANSWERED = {
    "three at once": ([200, 200, 200], (GET + b"\r\n") * 3),
    "three, the second one wrong": ([200, 400], GET + b"\r\n" + b"GET /\0\r\n\r\n" + GET + b"\r\n"),
    "a body between two": (
        [200, 200, 200], GET + b"\r\n" + POST + b"Content-Length: 17\r\n\r\n" + BODY + GET + b"\r\n"
    ),
    "chunks between two": ([200, 411, 200], GET + b"\r\n" + CHUNKED + CHUNK + GET + b"\r\n"),
    "HTTP/1.0": ([200], b"GET /v1/rhythms HTTP/1.0\r\n\r\n"),
    "an extension and a trailer": (
        [411], CHUNKED + b"11;a=b\r\n" + BODY + b"\r\n0\r\nX: y\r\n\r\n"
    ),
    "told to go on": (
        [100, 200], POST + b"Expect: 100-continue\r\nContent-Length: 17\r\n\r\n" + BODY
    ),
    "no host": ([400], b"GET /v1/rhythms HTTP/1.1\r\n\r\n"),
    "an address of its own": ([200], GET + b"SCRIPT_NAME: /v1\r\nPATH_INFO: /healthz\r\n\r\n"),
    "a header for its answer": ([404], b"GET /%0d%0aSet-Cookie:a HTTP/1.1\r\n" + HOST + b"\r\n"),
    "out of the pages": ([404], b"GET /page/%2e%2e/%2e%2e/x HTTP/1.1\r\n" + HOST + b"\r\n"),
    "a tunnel": ([404], b"CONNECT x:443 HTTP/1.1\r\n" + HOST + b"\r\n"),
}  # fmt: skip


@each_row("what", ANSWERED)
def test_answered_each_in_its_turn(service: Process, what: str) -> None:
    """And the same where it comes byte by byte."""
    statuses, raw = ANSWERED[what]
    for pieces in ([raw], [raw[k : k + 1] for k in range(len(raw))]):
        with closing(connected(service)) as connection:
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            for piece in pieces:
                connection.sendall(piece)
            connection.shutdown(socket.SHUT_WR)
            found = said(connection)
        assert answers(found) == statuses
        assert b"Set-Cookie" not in found


def test_a_client_that_waits_to_be_told_is_told_once(service: Process) -> None:
    with closing(connected(service)) as connection:
        connection.sendall(POST + b"expect: 100-Continue\r\nContent-Length: 17\r\n\r\n")
        assert connection.recv(1000) == b"HTTP/1.1 100 Continue\r\n\r\n"
        connection.sendall(BODY)
        connection.shutdown(socket.SHUT_WR)
        assert answers(said(connection)) == [200]


NESTED = b'{"chart":' * 2000 + b"1" + b"}" * 2000
BODIES = {
    "deep lists": (b"[" * 500_000, "not-json"),
    "deep objects": (NESTED, "not-json"),
    "a huge number": (b'{"symbols":["C"],"limit":' + b"9" * 5000 + b"}", "not-json"),
    "a number out of range": (b'{"symbols":[1e400]}', "not-json"),
    "no number": (b'{"symbols":[NaN]}', "not-json"),
    "a field twice": (b'{"symbols":["C"],"symbols":["D"]}', "not-json"),
    "a surrogate alone": (b'{"symbols":["\\ud800"]}', "not-json"),
    "another coding": ('{"symbols":["C"]}'.encode("utf-16"), "not-json"),
    "a NUL": (b'{"symbols":["C\0"]}', "not-json"),
    "two values": (b'{"symbols":["C"]}{}', "not-json"),
    "nothing": (b"", "not-json"),
}


@pytest.mark.parametrize("what", BODIES)
def test_bodies_that_are_no_json(service: Process, what: str) -> None:
    body, code = BODIES[what]
    status, said, _ = service.ask("/v1/chords", body, Content_Type="application/json")
    assert (status, json.loads(said)["code"]) == (400, code)


def test_a_head_without_an_end_holds_its_thread_for_seconds(service: Process) -> None:
    with closing(connected(service)) as connection:
        connection.sendall(GET + b"X: 1\r\n" * 100)
        assert said(connection) == b""
