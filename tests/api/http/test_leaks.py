"""What nobody is told: paths, versions, traces, whoever refuses.

Common practice (OWASP, Improper Error Handling), no standard.
"""

from __future__ import annotations

import re
import socket
from collections.abc import Iterator

import pytest

from support.processes import Process, serving

PLANTED = """
from shortway.core.settings.presets import PRESETS
from shortway.core.solver import solve
real, at_the_start = solve.solve, [*PRESETS, "the rarer colours"]
def planted(*args, **named):
    if at_the_start:
        at_the_start.pop()
        return real(*args, **named)
    raise RuntimeError("the secret of line 7")
solve.solve = planted
"""
#: A file's path, a trace, a name of what runs here with or without its version.
TOLD = re.compile(
    rb"Traceback|secret|RuntimeError|\.py\b|site-packages|/(usr|root|home|tmp|work|opt)/"
    rb"|gunicorn|werkzeug|flask|python|marshmallow|\b\d+\.\d+\.\d+\b",
    re.IGNORECASE,
)
PATH = {"chart": {"text": "| Dm7 | G7 |"}}


@pytest.fixture(scope="module")
def service() -> Iterator[Process]:
    with serving(before=PLANTED, MAX_BODY_KB="2") as found:
        yield found


def raw(service: Process, request: bytes) -> bytes:
    """The whole answer to bytes as they are."""
    with socket.create_connection(("127.0.0.1", service.port), 20) as connection:
        connection.sendall(request)
        said = b""
        while piece := connection.recv(65_536):
            said += piece
    return said


ASKED = {
    "a fault": ("POST", "/v1/paths", PATH, 500),
    "a fault in a score": ("POST", "/v1/scores", PATH, 500),
    "no call": ("GET", "/nothing", None, 404),
    "no method": ("DELETE", "/v1/paths", None, 405),
    "no JSON": ("POST", "/v1/paths", b"{", 415),
    "a wrong type": ("POST", "/v1/paths", {"chart": 7}, 422),
    "too large": ("POST", "/v1/paths", {"chart": {"text": "| C |" * 1000}}, 413),
    "a health": ("GET", "/healthz", None, 200),
}


@pytest.mark.parametrize("name", ASKED)
def test_no_answer_tells_of_what_runs_here(service: Process, name: str) -> None:
    method, path, body, status = ASKED[name]
    found, said, headers = service.ask(path, body, method)
    assert found == status
    assert headers.pop("Server") == "gunicorn"  # no version; nginx puts its own name there
    told = said + repr(sorted(headers.items())).encode()
    assert TOLD.findall(told) == []


def test_no_line_of_a_batch_does(service: Process) -> None:
    line = b'{"id": "a", "chart": {"text": "| Dm7 | G7 |"}}\n'
    _, said, _ = service.ask("/v1/batches", line, Content_Type="application/jsonl")
    assert b'"internal-error"' in said
    assert TOLD.findall(said) == []


def test_the_fault_is_in_the_log_with_its_place(service: Process) -> None:
    service.ask("/v1/paths", PATH)
    assert '"fault":"RuntimeError"' in service.log()
    assert "planted" in service.log()


MANY = b"".join(b"X-%d: a\r\n" % k for k in range(70))
HEAD = b"GET /healthz HTTP/1.1\r\nHost: x\r\nConnection: close\r\n"


@pytest.mark.parametrize(
    ("request_", "status"),
    [
        (HEAD + b"X-Long: " + b"a" * 9000 + b"\r\n\r\n", 431),
        (HEAD + MANY + b"\r\n", 431),
        (b"GET /" + b"a" * 9000 + b" HTTP/1.1\r\nHost: x\r\n\r\n", 414),
        (b"GET / HTTP/9.9\r\nHost: x\r\n\r\n", 400),
        (b"nonsense\r\n\r\n", 400),
        (HEAD + b"Bad Header: a\r\n\r\n", 400),
        (HEAD + b"Transfer-Encoding: odd\r\n\r\n", 501),
    ],
)
def test_what_is_no_http_gets_gunicorns_own_page(
    service: Process, request_: bytes, status: int
) -> None:
    """Without a version or a path; behind nginx it is a problem, as tests/containers sees."""
    said = raw(service, request_)
    assert said.startswith(b"HTTP/1.1 %d " % status)
    assert TOLD.findall(said.replace(b"HTTP/1.1", b"")) == []


def test_a_body_over_the_limit_is_told_which(service: Process) -> None:
    _, said, _ = service.ask("/v1/paths", {"chart": {"text": "| C |" * 1000}})
    assert b"2,048 bytes" in said
