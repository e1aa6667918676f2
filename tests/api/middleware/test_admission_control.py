"""Who computes, who waits and who is rejected: places alone, and the application behind them.

That equal shares go to whoever has the least is max-min fairness (Bertsekas and Gallager, *Data
Networks*, section 6.5.2). 411, 413 and 503 are RFC 9110's, sections 15.5.12, 15.5.14 and 15.6.4.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from flask import Flask, Response
from flask.testing import FlaskClient

from shortway.api import create_app
from shortway.api.middleware.admission_control import Places, Turns, _Admitting
from shortway.api.middleware.cors import EXPOSED_HEADERS
from shortway.api.middleware.token_store import generate_token, token_line
from shortway_client import Client
from support.loopback import served
from support.processes import until

OURS = "https://app.example"
LINE = b'{"id": "a", "chart": {"text": "| Dm7 | G7 |"}}\n'


def entering(places: Places, *clients: str) -> list[str]:
    """Clients that wait one after another, in the order in which they are admitted."""
    admitted: list[str] = []

    def enter(client: str) -> None:
        if places.acquire(client):
            admitted.append(client)

    for client in clients:
        before = len(places._waiting)
        threading.Thread(target=enter, args=(client,), daemon=True).start()
        until(lambda: len(places._waiting) > before, "one more who waits")  # noqa: B023
    return admitted


def test_a_free_place_goes_to_whoever_holds_the_fewest() -> None:
    places = Places(3, 10, 60)
    assert [places.acquire("many") for _ in range(3)] == [True] * 3
    admitted = entering(places, "many", "many", "one", "other")
    for expected in ("one", "other", "many"):
        places.release("many")
        until(lambda: admitted and admitted[-1] == expected, expected)  # noqa: B023


def test_a_client_alone_has_all_places() -> None:
    places = Places(4, 0, 0)
    assert [places.acquire("many") for _ in range(5)] == [True] * 4 + [False]
    places.release("many")
    assert places.acquire("many")


def test_whoever_has_the_most_waiting_makes_room() -> None:
    places = Places(1, 3, 60)
    assert places.acquire("many")
    admitted = entering(places, "many", "many", "many")
    waiting = threading.Thread(target=lambda: places.acquire("one") and admitted.append("one"))
    waiting.start()
    until(lambda: [w.client for w in places._waiting] == ["many", "many", "one"], "room for one")
    assert not places.acquire("many")
    for _ in range(3):
        places.release("many")
    waiting.join(60)
    until(lambda: sorted(admitted) == ["many", "many", "one"], "all three")


def test_nobody_waits_longer_than_allowed() -> None:
    places = Places(1, 5, 0.05)
    assert places.acquire("a")
    began = time.monotonic()
    assert not places.acquire("b")
    assert 0.04 < time.monotonic() - began < 30
    places.release("a")
    assert places.acquire("b")


def test_requests_compute_in_turn_and_none_waits_for_a_long_one() -> None:
    turns, computing, most = Turns(0.5), [0], [0]

    def compute() -> None:
        with turns.turn():
            computing[0] += 1
            most[0] = max(most[0], computing[0])
            time.sleep(0.02)
            computing[0] -= 1

    def all_of(count: int) -> float:
        began, threads = time.monotonic(), [threading.Thread(target=compute) for _ in range(count)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(60)
        return time.monotonic() - began

    all_of(5)
    assert most == [1]
    with turns.turn():
        assert 0.4 < all_of(1) < 30  # waits for the turn to end
        assert all_of(1) < 0.4  # the turn has passed on
    assert all_of(1) < 0.4


# --- the application -----------------------------------------------------------------------------


def busy_app(**settings: Any) -> tuple[Flask, threading.Event]:
    """An application with a call that computes until the event is set."""
    app, over = (
        create_app({"QUEUE_SECONDS": 0.05, "MAX_CONCURRENT": 1, **settings}),
        threading.Event(),
    )

    @app.get("/computes")
    def compute() -> Response:
        over.wait(60)
        return Response("done")

    return app, over


@contextmanager
def full(app: Flask, over: threading.Event, **asked: Any) -> Iterator[None]:
    """While the only place is taken."""
    thread = threading.Thread(target=lambda: app.test_client().get("/computes", **asked))
    thread.start()
    client = app.test_client()
    until(lambda: client.get("/v1/rhythms", **asked).status_code == 503, "a full service")
    try:
        yield
    finally:
        over.set()
        thread.join(60)


def test_a_rejection_is_a_problem_with_every_header() -> None:
    app, over = busy_app(CORS_ORIGINS=(OURS,))
    with full(app, over):
        found = app.test_client().get(
            "/v1/rhythms", headers={"Origin": OURS, "X-Request-Id": "mine-7"}
        )
        assert [app.test_client().get(path).status_code for path in ("/healthz", "/readyz")] == [
            200, 200,
        ]  # fmt: skip
    assert (found.status_code, found.get_json()["code"]) == (503, "unavailable")
    assert found.mimetype == "application/problem+json"
    assert 1 <= int(found.headers["Retry-After"]) <= 3
    assert (found.headers["API-Version"], found.headers["X-Request-Id"]) == ("1", "mine-7")
    assert found.headers["Access-Control-Allow-Origin"] == OURS
    assert "Retry-After" in EXPOSED_HEADERS
    assert found.headers["Access-Control-Expose-Headers"] == ", ".join(EXPOSED_HEADERS)
    assert app.test_client().get("/v1/rhythms").status_code == 200


def test_a_token_is_one_client_at_any_address_and_a_false_one_is_none(tmp_path: Path) -> None:
    token = generate_token()
    (tmp_path / "tokens").write_text(token_line("app", token))
    app = create_app({"TOKENS_FILE": str(tmp_path / "tokens")})
    front = _Admitting(app)
    known, unknown = ({"HTTP_AUTHORIZATION": f"Bearer {t}"} for t in (token, generate_token()))
    here, there = {"REMOTE_ADDR": "192.0.2.1"}, {"REMOTE_ADDR": "2001:db8::7"}
    assert front._client(known | here) == front._client(known | there) == "token app"
    assert front._client(unknown | here) == front._client(here) == "192.0.2.1"
    assert front._client(there) == front._client({"REMOTE_ADDR": "2001:db8::9"})


def test_a_body_is_read_before_a_place_is_taken() -> None:
    app, over = busy_app()
    body = BytesIO(b'{"symbols": ["C"]}')
    with full(app, over):
        found = app.test_client().post("/v1/chords", input_stream=body, content_length=18)
    assert (found.status_code, body.read()) == (503, b"")


def test_the_place_is_released_before_the_answer_is_written() -> None:
    app, over = busy_app()
    over.set()
    kept = [app.test_client().get("/computes", buffered=False) for _ in range(5)]
    assert [response.status_code for response in kept] == [200] * 5


@pytest.mark.parametrize(
    ("environ", "status", "code"),
    [
        ({"HTTP_TRANSFER_ENCODING": "chunked"}, 411, "length-required"),
        ({"CONTENT_LENGTH": "1048577"}, 413, "body-too-large"),
        ({"CONTENT_LENGTH": "100"}, 400, "body-incomplete"),
    ],
)
def test_a_body_that_is_rejected_by_its_head(
    client: FlaskClient, environ: dict[str, str], status: int, code: str
) -> None:
    found = client.post("/v1/paths", input_stream=BytesIO(b"{}"), environ_overrides=environ)
    assert (found.status_code, found.get_json()["code"]) == (status, code)
    assert found.headers["API-Version"] == "1"


def test_a_body_that_does_not_arrive_in_time(client: FlaskClient) -> None:
    class Slow(BytesIO):
        def read(self, size: int | None = -1) -> bytes:
            raise TimeoutError

    found = client.post("/v1/paths", input_stream=Slow(), content_length=5)
    assert (found.status_code, found.get_json()["code"]) == (408, "request-timeout")


# --- batches -------------------------------------------------------------------------------------


def test_batches_have_places_of_their_own() -> None:
    client = create_app({"MAX_BATCHES": 2, "QUEUE_SECONDS": 0.05}).test_client()

    def begun(kind: str = "application/jsonl") -> Any:
        return client.post("/v1/batches", data=LINE, content_type=kind)

    for _ in range(3):
        held = [begun() for _ in range(2)]
        assert [response.status_code for response in held] == [200, 200]
        assert begun().status_code == 503
        assert client.post("/v1/paths", json={"chart": {"text": "| C | F |"}}).status_code == 200
        assert b'"path"' in held[0].data  # read to the end, the other one is left
        held[1].close()
        assert [begun("text/xml").status_code for _ in range(3)] == [415] * 3


def test_a_client_with_more_windows_than_places_is_answered_whole() -> None:
    requests = [{"id": str(k), "chart": {"text": "| Dm7 | G7 |"}} for k in range(1_500)]
    with served(create_app({"MAX_BATCHES": 1})) as url, Client(url) as shortway:
        found = [result.id for result in shortway.find_paths(requests, workers=4)]
    assert found == [request["id"] for request in requests]
