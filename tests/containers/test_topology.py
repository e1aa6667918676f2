"""compose.yaml's topology as processes: two replicas, nginx, Redis, restarted under a load."""

from __future__ import annotations

import json
from collections.abc import Iterator
from http.client import HTTPConnection
from pathlib import Path

import pytest

from containers.topology import (
    Nginx,
    Replica,
    environment,
    load,
    running_nginx,
    running_replicas,
)
from shortway.api.middleware import token_store as tokens
from support.processes import until
from support.redis import running_redis

TOKEN = tokens.generate_token()
ASK = {"Authorization": f"Bearer {TOKEN}"}
LINE = b'{"id": "%d", "chart": {"text": "| Dm7 | G7 | Cmaj7 | %% |"}}\n'


@pytest.fixture(scope="module")
def redis_url(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with running_redis(tmp_path_factory.mktemp("redis")) as redis:
        yield redis.url


@pytest.fixture(scope="module")
def replicas(redis_url: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[Replica]]:
    known: Path = tmp_path_factory.mktemp("secrets") / "tokens"
    known.write_text(tokens.token_line("caller", TOKEN))
    given = environment(redis_url, TOKENS_FILE=str(known), RATE_LIMIT="1000000/minute")
    with running_replicas(given) as found:
        yield found


@pytest.fixture(scope="module")
def nginx(replicas: list[Replica]) -> Iterator[Nginx]:
    with running_nginx(*(replica.port for replica in replicas)) as found:
        yield found


def test_answers_come_through(nginx: Nginx) -> None:
    response, body = nginx.ask(
        "/v1/paths", {"chart": {"text": "| Fm7 | Bb7 |"}}, X_Request_Id="a-1", **ASK
    )
    assert (response.status, json.loads(body)["optimal"]) == (200, True)
    assert response.headers["X-Request-Id"] == "a-1"
    assert nginx.ask("/v1/paths", {"chart": {"text": "| Fm7 | Bb7 |"}})[0].status == 401
    until(lambda: "a-1" in [line["request_id"] for line in nginx.lines()], "a line of the log")


def test_a_batch_streams_both_ways(nginx: Nginx) -> None:
    connection = HTTPConnection("127.0.0.1", nginx.port, timeout=30)
    connection.putrequest("POST", "/v1/batches")
    for name, value in {**ASK, "Content-Type": "application/jsonl"}.items():
        connection.putheader(name, value)
    connection.putheader("Transfer-Encoding", "chunked")
    connection.endheaders()
    connection.send(chunk(LINE % 1))
    response = connection.getresponse()
    assert json.loads(response.readline())["id"] == "1"  # before the second is sent
    connection.send(chunk(LINE % 2) + chunk(b""))
    assert [json.loads(line)["id"] for line in response.read().splitlines()] == ["2"]
    connection.close()


def chunk(data: bytes) -> bytes:
    return b"%x\r\n%s\r\n" % (len(data), data)


def test_rolling_restart_fails_no_request(nginx: Nginx, replicas: list[Replica]) -> None:
    with load(nginx, **ASK) as seen:
        for replica in replicas:
            seen.settle()
            assert replica.stop() == 0
            seen.settle()
            replica.start()
        seen.settle()
    assert seen.failures == []
    served = {line["replicas"].rpartition(", ")[2] for line in nginx.lines()[-30:]}
    assert served == {f"127.0.0.1:{replica.port}" for replica in replicas}


def test_a_batch_that_holds_up_a_stopping_replica_fails_no_request(redis_url: str) -> None:
    """gunicorn accepts nothing meanwhile, and its port stays open."""
    given = environment(redis_url, TOKENS_FILE="", OPEN="1", GRACEFUL_SECONDS="2", RATE_LIMIT="")
    with running_replicas(given) as replicas, running_nginx(*(r.port for r in replicas)) as nginx:
        batch = HTTPConnection("127.0.0.1", replicas[0].port, timeout=30)
        batch.putrequest("POST", "/v1/batches")
        batch.putheader("Content-Type", "application/jsonl")
        batch.putheader("Transfer-Encoding", "chunked")
        batch.endheaders()
        batch.send(chunk(LINE % 1))
        batch.getresponse().readline()
        with load(nginx, **ASK) as seen:
            seen.settle()
            assert replicas[0].stop() == 0
            seen.settle()
        batch.close()
    assert seen.failures == []


def test_a_killed_replica_fails_no_request(nginx: Nginx, replicas: list[Replica]) -> None:
    with load(nginx, **ASK) as seen:
        seen.settle()
        replicas[0].kill()
        seen.settle()
        replicas[0].start()
        seen.settle()
    assert seen.failures == []
    assert any(", " in line["replicas"] for line in nginx.lines()), "none was asked again"


def test_rates_are_counted_once_for_both_by_who_asks(redis_url: str) -> None:
    given = environment(redis_url, TOKENS_FILE="", OPEN="1", RATE_LIMIT="5/hour")
    with running_replicas(given) as replicas, running_nginx(*(r.port for r in replicas)) as nginx:
        for source in ("127.0.0.2", "127.0.0.3"):
            found = [
                nginx.ask("/v1/families", source=source, X_Forwarded_For=f"192.0.2.{k}")[0].status
                for k in range(12)
            ]
            assert found == [200] * 5 + [429] * 7
        used = {line["replicas"] for line in nginx.lines()}
    assert used == {f"127.0.0.1:{replica.port}" for replica in replicas}
