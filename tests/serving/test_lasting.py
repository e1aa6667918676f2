"""How a service and its processes end: nothing asked is lost, and nobody holds up the others.

No test waits for time to pass: each waits for what has to come about. Source: RFC 9112, 9.6, for
``Connection: close``; the rest is common practice, no source.
"""

from __future__ import annotations

import os
import signal
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from http.client import HTTPConnection
from pathlib import Path

import pytest

from support.processes import LONG, Process, serving, until

pytestmark = pytest.mark.slow

LINE = b'{"id":"%d","chart":"| Dm7 | G7 |"}\n'
HEAD = b"POST /v1/batches HTTP/1.1\r\nHost: x\r\nContent-Type: application/jsonl\r\n"


def connected(service: Process) -> socket.socket:
    return socket.create_connection(("127.0.0.1", service.port), LONG)


class Batch:
    """A batch that is under way, line by line."""

    def __init__(self, service: Process) -> None:
        self._service = service
        self._socket = connected(service)
        self._socket.sendall(HEAD + b"Transfer-Encoding: chunked\r\n\r\n")
        self._count = 0

    def answers(self) -> bool:
        """Send one more line, and wait for its answer."""
        line = LINE % self._count
        self._socket.sendall(b"%x\r\n%b\r\n" % (len(line), line))
        self.read(b'{"id":"%d","path"' % self._count)
        self._count += 1
        return True

    def ends(self) -> bool:
        """End the batch, and wait for the end of the answer."""
        self._socket.sendall(b"0\r\n\r\n")
        self.read(b"0\r\n\r\n")
        return True

    def read(self, mark: bytes) -> None:
        found = b""
        while mark not in found:
            piece = self._socket.recv(65_536)
            assert piece, (found[-300:], self._service.log()[-3000:])
            found += piece

    def close(self) -> None:
        self._socket.close()


@contextmanager
def batch(service: Process) -> Iterator[Batch]:
    with closing(Batch(service)) as found:
        yield found


def refuses(service: Process) -> bool:
    """Whether the port is closed."""
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", service.port)) != 0


# --- the whole service stops ----------------------------------------------------------------------


def test_a_service_that_drains_says_so_and_answers_until_told_again() -> None:
    with serving(workers=2, DRAIN_SECONDS="300") as service:
        assert service.ask("/readyz")[0] == 200
        service.popen.send_signal(signal.SIGTERM)
        until(lambda: service.ask("/readyz")[0] == 503, "draining")
        _, body, headers = service.ask("/readyz")
        assert b'"code":"unavailable"' in body
        assert headers["Retry-After"] == "5"
        for path in ("/v1/families", "/healthz"):
            status, _, headers = service.ask(path)
            assert (status, headers["Connection"]) == (200, "close")
        assert service.stop() == 0


def test_draining_ends_by_itself() -> None:
    with serving(DRAIN_SECONDS="1") as service:
        assert service.stop() == 0


def test_a_batch_under_way_is_finished_and_new_ones_are_refused_at_once() -> None:
    with serving(workers=2, GRACEFUL_SECONDS="300") as service, batch(service) as under_way:
        assert under_way.answers()
        service.popen.send_signal(signal.SIGTERM)
        until(lambda: refuses(service), "a closed port")
        assert under_way.answers()
        assert under_way.ends()
        assert service.popen.wait(LONG) == 0


def test_what_has_come_to_the_port_is_answered_when_the_service_stops() -> None:
    """The worker sleeps while the connections come: they wait where nobody has taken them."""
    with serving() as service:
        [worker] = service.workers()
        os.kill(worker, signal.SIGSTOP)
        waiting = [HTTPConnection("127.0.0.1", service.port, timeout=LONG) for _ in range(8)]
        for connection in waiting:
            connection.request("GET", "/v1/rhythms")
        service.popen.send_signal(signal.SIGTERM)
        until(lambda: "Handling signal: term" in service.log())
        os.kill(worker, signal.SIGCONT)
        for connection in waiting:
            response = connection.getresponse()
            assert (response.status, response.headers["Connection"]) == (200, "close")
            connection.close()
        assert service.popen.wait(LONG) == 0


def test_gunicorns_own_command_drains_and_counts_as_serve_does() -> None:
    config = Path(__file__).parents[2] / "docker" / "gunicorn.conf.py"
    with serving(config=config, HOST="127.0.0.1", DRAIN_SECONDS="300") as service:
        assert b"shortway_workers 1.0" in service.ask("/metrics")[1]
        service.popen.send_signal(signal.SIGTERM)
        until(lambda: service.ask("/readyz")[0] == 503, "draining")
        assert service.stop() == 0


# --- one process goes, another comes --------------------------------------------------------------


def test_processes_are_replaced_under_load_without_one_failed_request() -> None:
    """Kept connections, one attempt for each request: what fails is not asked again."""
    failed: list[BaseException | int] = []

    def drive(service: Process) -> None:
        connection = service.connect()
        for _ in range(200):
            try:
                connection.request("GET", "/v1/rhythms")
                response = connection.getresponse()
                response.read()
                if response.status != 200:
                    failed.append(response.status)
            except OSError as error:
                failed.append(error)
        connection.close()

    with serving(workers=2, MAX_REQUESTS="60") as service:
        first = service.workers()
        threads = [threading.Thread(target=drive, args=(service,)) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert failed == []
        assert service.log().count("Booting worker") > 6
        until(lambda: len(service.workers()) == 2, "two workers, no more")
        assert not set(first) & set(service.workers())
        assert service.stop() == 0


def test_a_process_that_retires_finishes_its_batch_beside_its_successor() -> None:
    with serving(MAX_REQUESTS="20") as service, batch(service) as under_way:
        assert under_way.answers()
        until(lambda: service.is_up() and len(service.workers()) == 2, "a successor")
        assert under_way.answers()
        assert under_way.ends()
        under_way.close()
        until(lambda: len(service.workers()) == 1, "the retired one gone")
        assert service.is_up()


def test_sighup_replaces_every_process_and_cuts_no_batch() -> None:
    with serving(workers=2) as service, batch(service) as under_way:
        before = set(service.workers())
        assert under_way.answers()
        service.popen.send_signal(signal.SIGHUP)
        until(lambda: len(before - set(service.workers())) == 1, "the idle one gone")
        until(lambda: len(set(service.workers()) - before) == 2, "two new ones")
        assert service.is_up()
        assert under_way.answers()
        assert under_way.ends()
        under_way.close()
        until(lambda: not before & set(service.workers()), "the old ones gone")
        assert service.is_up()


# --- nobody holds up the others -------------------------------------------------------------------


def test_clients_that_do_not_close_hold_up_nobody() -> None:
    """Gunicorn would wait two seconds for each of them."""
    request = b"GET /healthz HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"
    with serving() as service:
        lazy = [connected(service) for _ in range(20)]
        began = time.monotonic()
        for connection in lazy:
            connection.sendall(request)
        for connection in lazy:
            assert connection.recv(1000)
        assert service.is_up()
        assert time.monotonic() - began < 20
        for connection in lazy:
            connection.close()


def test_a_process_whose_threads_are_all_lost_makes_room_for_another() -> None:
    stuck = """
import time
import shortway.serving.lasting as lasting
import shortway.api.resources.rhythms as rhythms
lasting.TRANSFER = lasting.LOST = 0.0
rhythms.with_etag = lambda _: time.sleep(3600)
"""
    with serving(before=stuck, THREADS="1", DEADLINE_SECONDS="1") as service:
        before = service.workers()
        with pytest.raises(OSError, match=r"reset|closed|without response"):
            service.ask("/v1/rhythms")
        until(lambda: service.workers() and service.workers() != before, "another process")
        assert service.ask("/v1/families")[0] == 200
        assert "Every thread is blocked" in service.log()
