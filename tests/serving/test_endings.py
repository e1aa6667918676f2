"""How a service and its processes end and are replaced: no request is lost.

No test waits for time to pass: each waits for what has to come about. That a stopping worker closes
kept connections with ``Connection: close`` is RFC 9112's, section 9.6.
"""

from __future__ import annotations

import signal
import socket
import threading
from contextlib import closing
from pathlib import Path

import pytest

from shortway_client import Client
from support.processes import LONG, Process, serving, until

pytestmark = pytest.mark.slow

LINE = b'{"id":"0","chart": {"text": "| Dm7 | G7 |"}}\n'
HEAD = (
    b"POST /v1/batches HTTP/1.1\r\nHost: x\r\nContent-Type: application/jsonl\r\n"
    b"Transfer-Encoding: chunked\r\n\r\n"
)


def replaced_under_load(service: Process, replace: bool) -> None:
    """Kept connections with one attempt for each request, while processes are replaced."""
    failed: list[BaseException | int] = []

    def drive() -> None:
        connection = service.connect()
        for _ in range(150):
            try:
                connection.request("GET", "/v1/rhythms")
                response = connection.getresponse()
                response.read()
                if response.status != 200:
                    failed.append(response.status)
            except OSError as error:
                failed.append(error)
        connection.close()

    first = service.workers()
    threads = [threading.Thread(target=drive) for _ in range(4)]
    for thread in threads:
        thread.start()
    if replace:
        service.popen.send_signal(signal.SIGHUP)
    for thread in threads:
        thread.join()
    assert failed == []
    until(lambda: not set(first) & set(service.workers()), "new workers")
    until(lambda: len(service.workers()) == 2, "two workers, no more")


def test_sighup_replaces_every_process_and_fails_no_request() -> None:
    with serving(workers=2) as service:
        replaced_under_load(service, replace=True)
        assert service.stop() == 0


def test_processes_that_have_had_their_requests_are_replaced_and_fail_none() -> None:
    with serving(workers=2, MAX_REQUESTS="60") as service:
        replaced_under_load(service, replace=False)
        assert service.stop() == 0


def test_a_batch_under_way_is_finished_when_the_service_stops() -> None:
    with serving() as service, closing(service.connect()) as connection:
        connection.connect()
        sock = connection.sock
        assert isinstance(sock, socket.socket)
        sock.sendall(HEAD + b"%x\r\n%b\r\n" % (len(LINE), LINE))
        until(lambda: b'"path"' in sock.recv(65_536), "an answer")
        service.popen.send_signal(signal.SIGTERM)
        until(lambda: "Handling signal: term" in service.log(), "the signal")
        sock.sendall(b"%x\r\n%b\r\n0\r\n\r\n" % (len(LINE), LINE))
        until(lambda: b"0\r\n\r\n" in sock.recv(65_536), "the end of the answer")
        assert service.popen.wait(LONG) == 0


def test_a_batch_that_a_reload_cuts_goes_on_at_another_process() -> None:
    charts = [{"id": str(k), "chart": {"text": f"title: {k}\n| Dm7 | G7 |"}} for k in range(600)]
    with serving(workers=2, GRACEFUL_SECONDS="1") as service:
        told = []
        with Client(f"http://127.0.0.1:{service.port}") as client:
            for result in client.find_paths(charts):
                told.append(result.id)
                if len(told) == 200:
                    service.popen.send_signal(signal.SIGHUP)
        assert told == [chart["id"] for chart in charts]


def test_gunicorns_own_command_serves_and_counts_as_serve_does() -> None:
    config = Path(__file__).parents[2] / "docker" / "gunicorn.conf.py"
    with serving(config=config, HOST="127.0.0.1") as service:
        assert b"shortway_workers 1.0" in service.ask("/metrics")[1]
        assert service.stop() == 0
