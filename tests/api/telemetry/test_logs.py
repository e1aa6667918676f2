"""Logs of a running service: JSON on every line, what a line tells, and what no line may.

Common practice, no source.
"""

from __future__ import annotations

import json
import re
import socket
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from shortway.api.middleware import token_store as tokens
from shortway_client import Client, Refused
from support.processes import Process, serving, until

Line = dict[str, Any]
#: A view that fails with the words of its request.
FAULTY = """
import shortway.api.resources.rhythms as rhythms
def fail(response):
    raise ValueError("the chart was | Ebmaj7 | Verse of Nobody |")
rhythms.table_response = fail
"""


@pytest.fixture(scope="module")
def service() -> Iterator[Process]:
    with serving(before=FAULTY) as process:
        yield process


def lines(service: Process) -> list[Line]:
    """All whole lines so far; each has to be JSON. A line that crosses a page may be half there."""
    return [json.loads(line) for line in service.log().rpartition("\n")[0].splitlines()]


def told(service: Process, request_id: str, **more: Any) -> Line:
    """The line of the request with this id."""

    def find() -> list[Line]:
        mine = [line for line in lines(service) if line.get("request_id") == request_id]
        return [line for line in mine if line["event"] == "request"]

    found: Line = until(find, "a line")[0]
    return found


def test_every_line_is_json_gunicorns_own_among_them(service: Process) -> None:
    found = lines(service)
    assert {"Starting gunicorn", "Booting worker"} <= {
        " ".join(line["event"].split()[:2]) for line in found
    }
    assert all({"time", "level", "event", "pid"} <= set(line) for line in found)
    assert all(re.fullmatch(r"\d{4}-\d\d-\d\dT[\d:.]+Z", line["time"]) for line in found)


def test_a_request_is_told_with_its_times(service: Process) -> None:
    body = {"chart": {"text": "| Am7 | D7 | Gmaj7 |"}}
    _, answer, _ = service.ask("/v1/paths", body, X_Request_Id="first")
    line = told(service, "first")
    assert (line["call"], line["method"], line["path"]) == ("findPath", "POST", "/v1/paths")
    assert (line["status"], line["problem"], line["cached"]) == (200, None, False)
    assert (line["received"], line["sent"]) == (len(json.dumps(body)), len(answer))
    phases = [line[f"ms_{name}"] for name in ("parse", "search", "rendering")]
    assert all(phases)
    assert sum(phases) <= line["ms"]
    assert line["pid"] in service.workers()
    assert line["level"] == "info"
    service.ask("/v1/paths", body, X_Request_Id="again")
    assert told(service, "again")["cached"] is True


def test_a_batch_is_told_at_its_end_with_counts(service: Process) -> None:
    body = b'{"id":"a","chart":{"text":"| C7 |"}}\n{"id":"b","chart":{"text":"| Y |"}}\n'
    headers = {"Content_Type": "application/jsonl", "X_Request_Id": "batch"}
    service.ask("/v1/batches", body, **headers)
    line = told(service, "batch")
    assert line["lines"] == {"solved": 1, "refused": 1, "failed": 0}
    assert line["received"] == len(body)


def test_the_id_of_a_refusal_leads_from_the_clients_error_to_the_line(service: Process) -> None:
    with Client(f"http://127.0.0.1:{service.port}") as client, pytest.raises(Refused) as caught:
        client.get_chord("H#maj")
    assert caught.value.request_id
    line = told(service, caught.value.request_id)
    assert (line["status"], line["problem"]) == (422, "symbol-unreadable")


def test_what_the_server_itself_rejects_is_logged_too(service: Process) -> None:
    assert service.ask("/v1/chords?symbol=" + "C" * 9000)[0] == 414
    until(lambda: "not valid HTTP" in service.log(), "a line")


def test_nothing_of_what_is_asked_is_told(service: Process) -> None:
    asked = {
        "/v1/chords?symbol=Secretchord": None,
        "/v1/paths": {"chart": {"text": "title: Secretsong\n| Secretchord |"}},
        "/Secretplace?x=Secretquery": None,
    }
    for k, (path, body) in enumerate(asked.items()):
        service.ask(path, body, X_Request_Id=f"secret-{k}", Authorization="Bearer Secrettoken")
        told(service, f"secret-{k}")
    assert told(service, "secret-2")["path"] is None
    for head in (b"GET /?Secret\1 HTTP/1.1\r\n", b"GET / HTTP/1.1\r\nExpect: Secret\r\n"):
        with closing(socket.create_connection(("127.0.0.1", service.port))) as connection:
            connection.sendall(head + b"Host: x\r\n\r\n")
            assert connection.recv(12).startswith(b"HTTP/1.1 4")
    assert "Secret" not in service.log()


def test_no_client_can_write_a_line(service: Process) -> None:
    count = len(lines(service))
    forged = '{"event":"forged"}'
    service.ask(f"/v1/families%0A{forged}".replace('"', "%22"), X_Request_Id="x\t" + forged)
    service.ask("/healthz", method="GET\x7f", X_Request_Id="forged-end")
    until(lambda: len(lines(service)) >= count + 1)
    assert all(line["event"] != "forged" for line in lines(service))
    assert forged not in service.log()


def test_a_fault_is_told_by_type_and_place_and_not_in_its_words(service: Process) -> None:
    status, _, headers = service.ask("/v1/rhythms")
    assert status == 500
    mine = [x for x in lines(service) if x.get("request_id") == headers["X-Request-Id"]]
    fault = next(line for line in mine if line["event"] == "unexpected error")
    assert (fault["level"], fault["fault"]) == ("error", "ValueError")
    assert fault["raised"][-1].endswith(" fail")
    assert told(service, headers["X-Request-Id"])["level"] == "error"
    assert "Nobody" not in service.log()


@pytest.mark.slow
def test_levels(tmp_path: Path) -> None:
    with serving(before=FAULTY, LOG_LEVEL="error") as quiet:
        quiet.ask("/v1/families")
        quiet.ask("/v1/rhythms")
        until(lambda: len(lines(quiet)) == 2, "the fault and its request")
        assert {line["level"] for line in lines(quiet)} == {"error"}
    with serving(before=FAULTY, LOG_LEVEL="debug") as loud:
        loud.ask("/healthz", X_Request_Id="probe")
        assert told(loud, "probe")["level"] == "debug"
        loud.ask("/v1/rhythms")
        assert "Verse of Nobody" in until(loud.log)


@pytest.mark.slow
def test_who_asks_is_told_by_name(tmp_path: Path) -> None:
    token = tokens.generate_token()
    (tmp_path / "tokens").write_text(tokens.token_line("phone-app", token) + "\n")
    with serving(TOKENS_FILE=str(tmp_path / "tokens")) as service:
        service.ask("/v1/families", X_Request_Id="asked", Authorization=f"Bearer {token}")
        assert told(service, "asked")["client"] == "phone-app"
        assert token not in service.log()
