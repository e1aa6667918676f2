"""The app on a real socket: what a test client cannot show."""

from __future__ import annotations

import json
from http.client import HTTPConnection
from typing import Any

Address = tuple[str, int]


def ask(
    address: Address, method: str, path: str, body: Any = None, **headers: str
) -> tuple[int, Any, dict[str, str]]:
    connection = HTTPConnection(*address, timeout=20)
    try:
        connection.request(method, path, body, {k.replace("_", "-"): v for k, v in headers.items()})
        response = connection.getresponse()
        raw = response.read()
        return response.status, json.loads(raw) if raw else None, dict(response.headers)
    finally:
        connection.close()


def test_path_over_a_socket(address: Address) -> None:
    body = json.dumps({"chart": {"text": "| Dm7 | G7 | Cmaj7 | % |"}})
    status, said, headers = ask(address, "POST", "/v1/paths", body, Content_Type="application/json")
    assert (status, said["optimal"]) == (200, True)
    assert headers["API-Version"] == "1"


def test_kept_answer_over_a_socket(address: Address) -> None:
    _, _, headers = ask(address, "GET", "/v1/families")
    status, said, _ = ask(address, "GET", "/v1/families", If_None_Match=headers["ETag"])
    assert (status, said) == (304, None)


def test_only_a_batch_may_come_in_chunks(address: Address) -> None:
    chunks = iter([b"| Fm7 ", b"| Bb7 |"])
    status, said, headers = ask(address, "POST", "/v1/charts", chunks, Content_Type="text/plain")
    assert (status, said["code"]) == (411, "length-required")
    assert (headers["API-Version"], len(headers["X-Request-Id"])) == ("1", 32)
    line = iter([b'{"id":"a",', b'"chart": {"text": "| C |"}}\n'])
    status, said, _ = ask(address, "POST", "/v1/batches", line, Content_Type="application/jsonl")
    assert (status, said["id"]) == (200, "a")


def test_wrong_method_over_a_socket(address: Address) -> None:
    status, said, headers = ask(address, "PUT", "/v1/chords", b"{}")
    assert (status, said["code"]) == (405, "method-not-allowed")
    assert "POST" in headers["Allow"]
