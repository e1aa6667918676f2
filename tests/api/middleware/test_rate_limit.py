"""Rates: who is counted as whom, what is said of it, and Redis that goes and comes back.

Headers after draft-ietf-httpapi-ratelimit-headers (RateLimit, RateLimit-Policy) and RFC 9110,
10.2.3 (Retry-After).
"""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from shortway.api import create_app
from shortway.api.middleware import token_store as tokens
from shortway.config import ConfigurationError
from support.redis import Redis, delayed, running_redis

PATH = {"chart": {"text": "| Dm7 | G7 |"}}


def limited(limit: str = "3/minute", **config: Any) -> FlaskClient:
    return create_app({"RATE_LIMIT": limit, **config}).test_client()


def ask(client: FlaskClient, address: str = "192.0.2.7", **headers: str) -> TestResponse:
    given = {name.replace("_", "-"): value for name, value in headers.items()}
    return client.get("/v1/families", environ_base={"REMOTE_ADDR": address}, headers=given)


def passed(client: FlaskClient, count: int, address: str = "192.0.2.7", **headers: str) -> int:
    """How many of `count` requests are answered."""
    found = [ask(client, address, **headers).status_code for _ in range(count)]
    assert set(found) <= {200, 429}
    return found.count(200)


# --- what is said ---------------------------------------------------------------------------------


def test_each_answer_says_what_is_left() -> None:
    client = limited()
    left = [ask(client).headers for _ in range(4)]
    assert [h["RateLimit-Policy"] for h in left] == ['"default";q=3;w=60'] * 4
    found = [re.fullmatch(r'"default";r=(\d+);t=(\d+)', h["RateLimit"]) for h in left]
    assert [int(m[1]) for m in found if m] == [2, 1, 0, 0]
    assert all(1 <= int(m[2]) <= 60 for m in found if m)
    assert "Retry-After" not in left[0]


def test_one_too_many_is_told_when_to_ask_again() -> None:
    client = limited("1/second")
    ask(client)
    response = ask(client)
    said = response.get_json()
    assert (response.status_code, said["code"]) == (429, "too-many-requests")
    assert response.mimetype == "application/problem+json"
    assert response.headers["Cache-Control"] == "no-store"
    assert "1/second" in said["detail"]
    wait = int(response.headers["Retry-After"])
    assert wait == 1
    time.sleep(wait)
    assert ask(client).status_code == 200


def test_without_a_limit_nothing_is_said() -> None:
    client = create_app().test_client()
    assert not {"RateLimit", "RateLimit-Policy"} & set(ask(client).headers.keys())


# --- who and what is counted ----------------------------------------------------------------------


def test_each_address_by_itself() -> None:
    client = limited()
    assert [passed(client, 5, address) for address in ("192.0.2.7", "192.0.2.8")] == [3, 3]


def test_addresses_of_one_ipv6_network_are_one() -> None:
    """RFC 4291: an interface has a /64, and so any number of addresses."""
    client = limited()
    assert passed(client, 2, "2001:db8::1") + passed(client, 2, "2001:db8::ffff:2") == 3
    assert passed(client, 2, "2001:db8:0:1::1") == 2


def test_a_walk_through_the_networks_of_one_site_ends() -> None:
    """RFC 6177: a site may have a /48, which is 65,536 networks of a client each."""
    client = limited("1/minute")
    walk = [f"2001:db8:0:{k:x}::1" for k in range(40)]
    assert sum(passed(client, 1, address) for address in walk) == 16
    assert passed(client, 1, "2001:db8:1::1") == 1
    assert sum(passed(client, 1, f"192.0.2.{k}") for k in range(40)) == 40


def test_all_calls_together_and_answers_that_are_kept_too() -> None:
    client = limited()
    statuses = [client.post("/v1/paths", json=PATH).status_code for _ in range(2)]
    statuses += [client.get("/v1/families").status_code, client.get("/v1/rhythms").status_code]
    assert statuses == [200, 200, 200, 429]
    assert client.post("/v1/paths", json=PATH).status_code == 429


@pytest.mark.parametrize(
    "path", ["/healthz", "/readyz", "/openapi.json", "/", "/page/page.js", "/metrics"]
)
def test_what_is_open_to_anybody_counts_for_nobody(path: str) -> None:
    client = limited("1/minute")
    assert [client.get(path).status_code for _ in range(3)] == [200] * 3
    assert "RateLimit" not in client.get(path).headers


def test_each_name_by_itself_wherever_it_asks_from(tmp_path: Path) -> None:
    made = {"a": tokens.generate_token(), "b": tokens.generate_token()}
    extra = tokens.generate_token()  # the same name's next token, while both are in force
    lines = [tokens.token_line(*pair) for pair in made.items()] + [tokens.token_line("a", extra)]
    (tmp_path / "tokens").write_text("\n".join(lines))
    client = limited(TOKENS_FILE=str(tmp_path / "tokens"))
    for address in ("192.0.2.1", "192.0.2.2"):
        assert ask(client, address, Authorization="Bearer x").status_code == 401
    assert passed(client, 2, "192.0.2.1", Authorization=f"Bearer {made['a']}") == 2
    assert passed(client, 2, "192.0.2.2", Authorization=f"Bearer {extra}") == 1
    assert passed(client, 4, "192.0.2.1", Authorization=f"Bearer {made['b']}") == 3


@pytest.mark.parametrize(
    ("proxies", "forwarded", "counted"),
    [
        (0, "198.51.100.1", "192.0.2.7"),
        (1, "198.51.100.1", "198.51.100.1"),
        (1, "203.0.113.9, 198.51.100.1", "198.51.100.1"),
        (2, "203.0.113.9, 198.51.100.1", "203.0.113.9"),
        (2, "198.51.100.1", "192.0.2.7"),
        (1, "", "192.0.2.7"),
        (1, "nonsense", "unknown"),
        (1, "198.51.100.1:4711", "198.51.100.1"),
        (1, "[2001:db8::7]:4711", "2001:db8::/64"),
        (1, "[2001:db8::7]", "2001:db8::/64"),
        (1, "198.51.100.1:4711:1", "unknown"),
        (1, "198.51.100.1, <script>", "unknown"),
    ],
)
def test_forwarded_addresses_are_believed_as_far_as_proxies_are_trusted(
    proxies: int, forwarded: str, counted: str
) -> None:
    """Each proxy appends whom it heard it from; only the last so many are not the client's word."""
    client = limited("1/minute", TRUSTED_PROXIES=proxies)
    assert passed(client, 1, X_Forwarded_For=forwarded) == 1
    counts = list(client.application.extensions["shortway-rates"].storage.storage)
    assert [key for key in counts if f"/address {counted}/" in key or "/site " in key] == counts
    assert any(f"/address {counted}/" in key for key in counts)


# --- Redis ----------------------------------------------------------------------------------------


@pytest.fixture
def redis(tmp_path: Path) -> Iterator[Redis]:
    with running_redis(tmp_path) as server:
        yield server


@pytest.mark.peer
def test_processes_count_together(redis: Redis) -> None:
    one, two = (limited(REDIS_URL=redis.url) for _ in range(2))
    assert passed(one, 2) + passed(two, 2) == 3
    assert ask(one).status_code == 429


def test_processes_without_redis_count_by_themselves() -> None:
    assert passed(limited(), 4) + passed(limited(), 4) == 6


@pytest.mark.peer
def test_redis_gone_and_back(redis: Redis, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level("INFO", "flask-limiter")
    client = limited("1000/minute", REDIS_URL=redis.url)
    assert ask(client).headers["RateLimit"].startswith('"default";r=999;')
    redis.stop()
    assert passed(client, 3) == 3
    assert ask(client).headers["RateLimit"].startswith('"default";r=996;')
    assert "falling back" in caplog.text
    redis.start()
    until = time.monotonic() + 30
    while (passed(client, 1), "storage recovered" in caplog.text) == (1, False):
        assert time.monotonic() < until
        time.sleep(0.2)
    assert ask(client).headers["RateLimit"].startswith('"default";r=998;')


@pytest.mark.peer
def test_redis_that_was_never_there() -> None:
    client = limited(REDIS_URL="redis://127.0.0.1:9/0")
    assert passed(client, 4) == 3


@pytest.mark.peer
def test_redis_that_says_nothing_holds_up_one_request_for_a_second_at_most(redis: Redis) -> None:
    client = limited("1000/minute", REDIS_URL=redis.url)
    assert passed(client, 1) == 1
    assert redis.process is not None
    redis.process.send_signal(19)  # SIGSTOP: it accepts, and answers nothing
    try:
        before = time.monotonic()
        assert passed(client, 1) == 1
        assert time.monotonic() - before < 2
        assert passed(client, 20) == 20
        assert time.monotonic() - before < 4
    finally:
        redis.process.send_signal(18)


@pytest.mark.peer
def test_a_slow_redis_holds_up_one_request_and_is_counted(redis: Redis) -> None:
    """Every request once took 0.6 s where each answer of Redis takes 0.2 s."""
    with delayed(redis.port, 0.2) as port:
        client = limited("1000/minute", REDIS_URL=f"redis://127.0.0.1:{port}/0")
        begun = time.monotonic()
        assert passed(client, 6) == 6
        assert time.monotonic() - begun < 0.6
    said = client.get("/metrics").get_data(as_text=True)
    failures = re.search(r"^shortway_redis_failures_total (\S+)", said, re.M)
    assert failures is not None
    assert float(failures[1]) > 0


def test_redis_without_its_client(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "redis", None)
    with pytest.raises(ConfigurationError, match=r"pip install 'shortway\[redis\]'"):
        limited(REDIS_URL="redis://127.0.0.1:9/0")
