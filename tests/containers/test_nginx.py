"""nginx.conf before scripted replicas: what it passes on, what it asks again, what it keeps.

Directives: nginx's documentation of ngx_http_proxy_module and ngx_http_upstream_module.
"""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

import pytest

from containers.topology import Nginx, running_nginx
from shortway.api.http.responses import API_VERSION
from support.loopback import Faulty, Script, answer, cut, misbehaving, unused_port

OK = answer(200, b'{"fine": true}')
BUSY = answer(503, b'{"code": "unavailable"}', "application/problem+json", Retry_After="1")
BODY = {"chart": {"text": "| Dm7 | G7 |"}}


@contextmanager
def before(*scripts: Script) -> Iterator[tuple[Nginx, list[Faulty]]]:
    """nginx before servers that always do the same."""
    with ExitStack() as stack:
        servers = [stack.enter_context(misbehaving(script)) for script in scripts]
        ports = [int(server.url.rpartition(":")[2]) for server in servers]
        yield stack.enter_context(running_nginx(*ports)), servers


def test_who_asks_and_which_request_are_passed_on() -> None:
    with before(OK, OK) as (nginx, servers):
        nginx.ask("/v1/paths?x=1", BODY, X_Forwarded_For="192.0.2.9", X_Request_Id="mine-7")
        nginx.ask("/v1/paths", BODY, X_Request_Id="no good one")
    (first,), (second,) = (server.seen for server in servers)
    assert (first.method, first.path, json.loads(first.body)) == ("POST", "/v1/paths?x=1", BODY)
    assert first.headers["x-forwarded-for"] == "192.0.2.9, 127.0.0.1"
    assert first.headers["host"] == f"127.0.0.1:{nginx.port}"
    assert (first.headers["x-request-id"], len(second.headers["x-request-id"])) == ("mine-7", 32)


@pytest.mark.parametrize("fault", [BUSY, cut], ids=["busy", "cut"])
def test_what_one_replica_cannot_answer_the_other_does(fault: Script) -> None:
    with before(fault, OK) as (nginx, (bad, good)):
        found = [nginx.ask("/v1/paths", BODY)[0].status for _ in range(4)]
    assert found == [200] * 4
    assert len(bad.seen) >= 1
    assert [json.loads(seen.body) for seen in good.seen] == [BODY] * 4


def test_a_replica_that_is_gone_costs_nothing() -> None:
    with misbehaving(OK) as good, running_nginx(unused_port(), _port(good)) as nginx:
        assert [nginx.ask("/v1/families")[0].status for _ in range(4)] == [200] * 4


def _port(server: Faulty) -> int:
    return int(server.url.rpartition(":")[2])


@pytest.mark.parametrize("status", [429, 422, 500])
def test_an_answer_that_the_other_would_give_too_is_not_asked_again(status: int) -> None:
    with before(answer(status), answer(status)) as (nginx, servers):
        assert nginx.ask("/v1/paths", BODY)[0].status == status
    assert sum(len(server.seen) for server in servers) == 1


def test_both_busy_say_so_themselves() -> None:
    with before(BUSY, BUSY) as (nginx, servers):
        response, body = nginx.ask("/v1/paths", BODY)
    assert (response.status, response.headers["Retry-After"]) == (503, "1")
    assert json.loads(body) == {"code": "unavailable"}
    assert [len(server.seen) for server in servers] == [1, 1]


def test_both_gone_is_a_problem_to_come_back_from() -> None:
    with running_nginx(unused_port(), unused_port()) as nginx:
        response, body = nginx.ask("/v1/families", X_Request_Id="mine-8")
    assert (response.status, response.headers["Retry-After"]) == (503, "1")
    assert response.headers["Content-Type"] == "application/problem+json"
    assert (json.loads(body)["code"], json.loads(body)["status"]) == ("unavailable", 503)
    assert response.headers["X-Request-Id"] == "mine-8"


def test_a_batch_is_not_begun_again() -> None:
    with before(BUSY, BUSY) as (nginx, servers):
        assert nginx.ask("/v1/batches", b"{}\n")[0].status == 503
    assert sum(len(server.seen) for server in servers) == 1


def test_metrics_are_nobody_elses() -> None:
    with before(OK, OK) as (nginx, servers):
        for path in ("/metrics", "/metrics?x", "//metrics", "/%6Detrics", "/x/../metrics"):
            response, body = nginx.ask(path)
            assert (response.status, json.loads(body)["code"]) == (404, "not-found"), path
            assert response.headers["API-Version"] == API_VERSION
    assert not [seen for server in servers for seen in server.seen]


def test_large_bodies_stop_at_the_door_but_for_batches() -> None:
    with before(OK, OK) as (nginx, servers):
        response, body = nginx.ask("/v1/paths", b" " * (3 << 20))
        assert (response.status, json.loads(body)["code"]) == (413, "body-too-large")
        assert nginx.ask("/v1/batches", b" " * (3 << 20))[0].status == 200
    assert [len(seen.body) for server in servers for seen in server.seen] == [3 << 20]


# --- limits of a client, and nginx's own answers ------------------------------------------------

FEW = {
    "burst=100": "burst=2",
    "rate=50r/s": "rate=1r/m",
    # what another proxy says is the client's address
    "limit_conn_status": "set_real_ip_from 127.0.0.1; real_ip_header X-Client; limit_conn_status",
}


@contextmanager
def few_requests() -> Iterator[Nginx]:
    """nginx that lets three requests of an address without a token pass."""
    with misbehaving(OK) as server, running_nginx(_port(server), changed=FEW) as nginx:
        yield nginx


def statuses(nginx: Nginx, *clients: str, **headers: str) -> list[int]:
    return [nginx.ask("/v1/families", X_Client=each, **headers)[0].status for each in clients]


def test_an_address_without_a_token_has_a_rate_and_a_token_has_another() -> None:
    with few_requests() as nginx:
        assert statuses(nginx, *["192.0.2.1"] * 4, "192.0.2.2") == [200, 200, 200, 429, 200]
        assert statuses(nginx, *["192.0.2.1"] * 6, Authorization="Bearer x") == [200] * 6


def test_an_ipv6_address_counts_as_its_64() -> None:
    """A household or a server has all addresses below (RFC 6177)."""
    with few_requests() as nginx:
        ours = [f"2001:db8:0:1:{k}::7" for k in range(1, 4)]
        assert statuses(nginx, *ours, "2001:db8:0:1::1", "2001:db8:0:2::1") == [
            200, 200, 200, 429, 200,
        ]  # fmt: skip


def test_a_page_can_read_what_nginx_says_itself() -> None:
    with few_requests() as nginx:
        statuses(nginx, *["192.0.2.1"] * 3)
        response, body = nginx.ask(
            "/v1/families",
            X_Client="192.0.2.1",
            Origin="https://app.example",
            X_Request_Id="mine-9",
        )
        found = response.headers
        assert (response.status, json.loads(body)["code"]) == (429, "too-many-requests")
        assert (found["API-Version"], found["X-Request-Id"]) == (API_VERSION, "mine-9")
        assert (found["Retry-After"], found["Access-Control-Allow-Origin"]) == ("1", "*")
        assert "Retry-After" in found["Access-Control-Expose-Headers"]


def test_what_a_replica_says_has_its_headers_once() -> None:
    own = answer(200, b"{}", API_Version="1", X_Request_Id="theirs")
    with misbehaving(own) as server, running_nginx(_port(server)) as nginx:
        headers = nginx.ask("/v1/families")[0].headers
    assert headers.get_all("API-Version") == ["1"]
    assert headers.get_all("X-Request-Id") == ["theirs"]
    assert "Access-Control-Allow-Origin" not in headers  # which is the service's to allow


@pytest.mark.parametrize(
    ("request_", "status", "code"),
    [
        (b"GET / HTTP/1.1\r\n\r\n", 400, "bad-request"),
        (b"GET / HTTP/1.1\r\nHost: x\r\nX: " + b"a" * 9000 + b"\r\n\r\n", 431, "head-too-large"),
        (b"nonsense\r\n\r\n", 400, "bad-request"),
        (b"GET /" + b"a" * 9000 + b" HTTP/1.1\r\nHost: x\r\n\r\n", 414, "uri-too-long"),
        (b"TRACE / HTTP/1.1\r\nHost: x\r\n\r\n", 405, "method-not-allowed"),
        (
            b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: odd\r\n\r\n", 501, "not-implemented",
        ),
    ],
)  # fmt: skip
def test_what_is_no_http_is_a_problem(request_: bytes, status: int, code: str) -> None:
    with before(OK) as (nginx, _), socket.create_connection(("127.0.0.1", nginx.port), 20) as sock:
        sock.sendall(request_)
        sock.shutdown(socket.SHUT_WR)
        found = b""
        while piece := sock.recv(65_536):
            found += piece
    head, _, body = found.partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 %d " % status)
    assert (json.loads(body)["code"], json.loads(body)["status"]) == (code, status)
    assert b"API-Version: 1" in head
