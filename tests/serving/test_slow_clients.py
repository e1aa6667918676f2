"""Clients that send drop by drop, stop halfway, or take nothing of their answer: nobody else waits.

A service with one thread; limits are put off or brought forward, so that no test waits for a clock
to prove that something does not happen. Statuses after RFC 9110, sections 15.5.9 and 15.6.4.
"""

from __future__ import annotations

import json
import socket
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager

import pytest

from serving.test_protocol import BODY, CHUNKED, GET, HIDDEN, POST, answers, connected, said
from shortway.serving.gathering import Coming
from support.processes import Process, serving, until

pytestmark = pytest.mark.slow

NEVER = """
import gunicorn.workers.gthread as gthread, shortway.serving.gathering as gathering
gthread.DEFAULT_WORKER_DATA_TIMEOUT = gathering.HEAD = gathering.BODY = 3600.0
"""
SOON = "import shortway.serving.gathering as gathering; gathering.HEAD = gathering.BODY = 0.2"
#: Requests in halves: what is sent first, and the rest.
HALVES = [
    (b"G", GET[1:] + b"\r\n"),
    (GET, b"\r\n"),
    (POST + b"Content-Length: 17\r\n\r\n", BODY),
    (POST + b"Content-Length: 17\r\n\r\n" + BODY[:5], BODY[5:]),
    (CHUNKED, b"11\r\n" + BODY + b"\r\n0\r\n\r\n"),
    (CHUNKED + b"11\r\n" + BODY, b"\r\n0\r\n\r\n"),
    (CHUNKED + b"11\r\n" + BODY + b"\r\n0\r\nX: y\r\n", b"\r\n"),
    (POST + b"Expect: 100-continue\r\nContent-Length: 17\r\n\r\n", BODY),
]


@pytest.fixture(scope="module")
def patient() -> Iterator[Process]:
    """A service that waits for ever."""
    with serving(before=NEVER, THREADS="1", MOST_WAITING="64") as found:
        yield found


@contextmanager
def begun(service: Process, times: int) -> Iterator[list[tuple[socket.socket, bytes]]]:
    """Connections on which half a request has been sent, `times` of each sort, and its rest."""
    with ExitStack() as stack:
        found = []
        for first, rest in HALVES * times:
            connection = stack.enter_context(closing(connected(service)))
            connection.sendall(first)
            found.append((connection, rest))
        yield found


def test_forty_who_send_half_hold_up_nobody_and_are_answered_in_the_end(patient: Process) -> None:
    with begun(patient, 5) as halves:
        for _ in range(3):
            assert patient.ask("/v1/rhythms")[0] == 200
        for connection, rest in halves:
            connection.sendall(rest)
            connection.shutdown(socket.SHUT_WR)
            assert answers(said(connection))[-1] == 200


@pytest.mark.parametrize(
    "head",
    [
        POST.replace(b"1.1", b"1.2") + b"Content-Length: 17\r\n\r\n",
        POST + b"Content-Length: " + b"0" * 41 + b"17\r\n\r\n",
        CHUNKED.replace(b"chunked", b"gzip, chunked") + b"11\r\n",
        POST.replace(b"POST", b"PO-ST") + b"Content-Length: 17\r\n\r\n",
        POST.replace(b"chords", b"batches") + b"Content-Length: 17\r\n\r\n",  # a 415
    ],
)
def test_no_thread_waits_for_a_rest_however_it_is_announced(patient: Process, head: bytes) -> None:
    with closing(connected(patient)) as halfway:
        halfway.sendall(head)
        assert patient.ask("/v1/rhythms")[0] == 200


def test_no_line_takes_the_main_thread_long() -> None:
    began = time.monotonic()
    for line in (b"GET /" + b"a" * 65_000 + b" X\r\n", POST + b"Content-Length: " + b"0" * 65_000):
        Coming(line + b"x\r\n\r\n", 1000).is_whole()
        Coming(line, 1000).refused()
    assert time.monotonic() - began < 2  # tried in every way, the first took nine seconds


def test_a_connection_gets_one_answer_to_a_probe(patient: Process) -> None:
    with closing(connected(patient)) as connection:
        connection.sendall(HIDDEN * 2)
        assert answers(said(connection)) == [200]


def test_a_probe_whose_answer_nobody_takes_holds_up_no_other() -> None:
    large = """
import shortway.api.telemetry.metrics as metrics, shortway.serving.lasting as lasting
metrics.Metrics.text = lambda _: b" " * 30_000_000
lasting.PROBED = 0.1
"""
    with serving(before=large, THREADS="1") as service, closing(connected(service)) as lazy:
        lazy.sendall(b"GET /metrics HTTP/1.1\r\nHost: x\r\n\r\n")
        assert lazy.recv(12) == b"HTTP/1.1 200"
        assert service.ask("/healthz")[0] == 200


def test_drop_by_drop_is_as_good_as_at_once(patient: Process) -> None:
    """All in turn, a byte each: the requests come to their ends together."""
    with begun(patient, 1) as halves:
        rests = [bytearray(rest) for _, rest in halves]
        while any(rests):
            for (connection, _), rest in zip(halves, rests, strict=True):
                connection.sendall(rest[:1])
                del rest[:1]
        assert patient.ask("/v1/rhythms")[0] == 200
        for connection, _ in halves:
            connection.shutdown(socket.SHUT_WR)
            assert answers(said(connection))[-1] == 200


def test_who_takes_too_long_to_ask_is_told(patient: Process) -> None:
    with serving(before=SOON, THREADS="1") as service, begun(service, 1) as halves:
        for connection, _ in halves:
            raw = said(connection)
            assert answers(raw)[-1] == 408
            assert json.loads(raw.rpartition(b"\r\n\r\n")[2])["code"] == "request-timeout"
        with closing(connected(service)) as kept:
            kept.sendall(GET + b"\r\n")
            until(lambda: kept.recv(65_536).endswith(b"}"), "an answer")
            kept.sendall(b"G")
            assert answers(said(kept)) == [408]


@pytest.mark.parametrize(
    ("sent", "statuses", "code"),
    [
        (b"GET /v1/rhythms HTTP/1.1\r\nHost: ", [], None),
        (POST + b"Content-Length: 17\r\n\r\n" + BODY[:5], [400], "body-incomplete"),
        (CHUNKED + b"11\r\n" + BODY[:5], [400], "body-incomplete"),
        (GET + b"\r\n" + b"GET /v1", [200], None),
    ],
)
def test_half_closed_halfway(
    patient: Process, sent: bytes, statuses: list[int], code: str | None
) -> None:
    """A client that will send no more can still read."""
    with closing(connected(patient)) as connection:
        connection.sendall(sent)
        connection.shutdown(socket.SHUT_WR)
        raw = said(connection)
    assert answers(raw) == statuses
    assert code is None or json.loads(raw.rpartition(b"\r\n\r\n")[2])["code"] == code


def test_what_is_coming_at_once_is_bounded_for_the_whole_process() -> None:
    few = "import shortway.serving.gathering as gathering; gathering.MOST_HELD = 300_000"
    half = POST + b"Content-Length: 200000\r\n\r\n" + b" " * 100_000
    with serving(before=few, THREADS="1") as service, ExitStack() as stack:
        found = [stack.enter_context(closing(connected(service))) for _ in range(4)]
        for connection in found[:2]:
            connection.sendall(half)
        assert service.ask("/v1/rhythms")[0] == 200
        for connection in found[2:]:
            connection.sendall(half)
        turned_away = [connection for connection in found if _is_told(connection)]
        assert turned_away
        assert b"Retry-After: " in said(turned_away[0])
        assert service.ask("/v1/chords?symbol=C")[0] == 200


def test_what_has_come_is_counted_off_again() -> None:
    few = "from shortway.serving import gathering; gathering.MOST_HELD = 2000"
    half = POST + b"Expect: 100-continue\r\nContent-Length: 17\r\n\r\n"
    with serving(before=few, THREADS="1") as service, closing(connected(service)) as connection:
        for _ in range(100):
            connection.sendall(half)
            assert connection.recv(1000) == b"HTTP/1.1 100 Continue\r\n\r\n"
            connection.sendall(BODY)
            until(lambda: connection.recv(65_536).endswith(b"}"), "an answer")


def test_a_refused_batch_that_goes_on_holds_no_thread() -> None:
    """Gunicorn would wait five seconds for the rest of each body."""
    refused = CHUNKED.replace(b"/v1/chords", b"http://x/v1/batches")
    with serving(THREADS="1") as service, ExitStack() as stack:
        began = time.monotonic()
        for _ in range(12):
            connection = stack.enter_context(closing(connected(service)))
            connection.sendall(refused)
            assert connection.recv(12) == b"HTTP/1.1 415"
        assert service.ask("/v1/rhythms")[0] == 200
        assert time.monotonic() - began < 50


def _is_told(connection: socket.socket) -> bool:
    """Whether an answer waits to be read."""
    connection.settimeout(2)
    try:
        return connection.recv(1, socket.MSG_PEEK) != b""
    except TimeoutError:
        return False


def test_who_takes_nothing_of_a_large_answer_is_let_go() -> None:
    hurry = "import shortway.serving.lasting as lasting; lasting.TRANSFER = -4.0"
    chart = {"chart": "| Dm7 G7 | Cmaj7 A7 |" * 1000}
    with (
        serving(before=hurry, THREADS="1", DEADLINE_SECONDS="10") as service,
        closing(socket.socket()) as lazy,
    ):
        lazy.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        lazy.connect(("127.0.0.1", service.port))
        body = json.dumps(chart).encode()
        lazy.sendall(POST.replace(b"chords", b"paths") + b"Content-Length: %d\r\n\r\n" % len(body))
        lazy.sendall(body)
        assert lazy.recv(12) == b"HTTP/1.1 200"
        assert service.ask("/v1/rhythms")[0] == 200
        taken = 0
        while piece := lazy.recv(65_536):
            taken += len(piece)
        assert taken < 4_000_000
