"""nginx.conf before scripted replicas: what it passes on, what it asks again, what it keeps.

Directives: nginx's documentation of ngx_http_proxy_module and ngx_http_upstream_module.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

import pytest

from containers.topology import Nginx, running_nginx
from shortway.api.http.responses import API_VERSION
from support.loopback import Faulty, Script, answer, cut, misbehaving, unused_port

OK = answer(200, b'{"fine": true}')
BUSY = answer(503, b'{"code": "unavailable"}', "application/problem+json", Retry_After="1")
BODY = {"chart": "| Dm7 | G7 |"}


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
