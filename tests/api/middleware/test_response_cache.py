"""Answers kept as bytes: when a call is answered without being read again, and when not."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from shortway.api import create_app
from shortway.api.middleware.token_store import generate_token, token_line
from shortway.core.cache import CacheReport

OURS = "https://app.example"
CALLS: list[tuple[str, Any]] = [
    ("/v1/chords", {"symbols": ["C7", "Xm"]}),
    ("/v1/voicings", {"symbol": "C7", "limit": 2}),
    ("/v1/charts", {"text": "| C7 | F7 |"}),
    ("/v1/paths", {"chart": {"text": "| C7 | F7 |"}}),
]


@pytest.fixture
def app() -> Flask:
    return create_app()


def report(app: Flask) -> CacheReport:
    found: CacheReport = app.extensions["shortway-answers"].report()
    return found


@pytest.mark.parametrize(("path", "body"), CALLS)
def test_the_same_again_is_not_worked_out_again(
    app: Flask, client: FlaskClient, path: str, body: Any
) -> None:
    first = client.post(path, json=body, headers={"X-Request-Id": "a"})
    again = client.post(path, json=body, headers={"X-Request-Id": "b"})
    assert (first.status_code, again.status_code) == (200, 200)
    assert again.data == first.data
    assert again.content_type == first.content_type
    assert (first.headers["X-Request-Id"], again.headers["X-Request-Id"]) == ("a", "b")
    assert (report(app).hits, report(app).entries) == (1, 1)


def test_what_differs_is_another_request(app: Flask, client: FlaskClient) -> None:
    body = b'{"text": "| C7 |"}'
    as_json = client.post("/v1/charts", data=body, content_type="application/json")
    as_text = client.post("/v1/charts", data=body, content_type="text/plain")
    assert (as_json.status_code, as_text.status_code) == (200, 422)
    assert client.post("/v1/paths", data=body, content_type="application/json").status_code == 422
    assert (report(app).hits, report(app).entries) == (0, 1)


def test_a_refusal_is_not_kept(app: Flask, client: FlaskClient) -> None:
    for _ in range(2):
        assert client.post("/v1/paths", json={"chart": {"text": "| Y |"}}).status_code == 422
        assert client.post("/v1/paths", json={"chart": 1}).status_code == 422
        assert (
            client.post("/v1/paths", data=b"{", content_type="application/json").status_code == 400
        )
    assert (report(app).hits, report(app).entries) == (0, 0)


def test_what_holds_for_every_request_holds_for_kept_answers(client: FlaskClient) -> None:
    body = {"chart": {"text": "| C7 |"}}
    assert client.post("/v1/paths", json=body).status_code == 200
    for sent, status in (
        ({"headers": {"Accept": "text/html"}}, 406),
        ({"headers": {"Content-Encoding": "gzip"}}, 415),
        ({"query_string": {"loop": "true"}}, 422),
    ):
        assert client.post("/v1/paths", json=body, **sent).status_code == status  # type: ignore[arg-type]


def test_a_small_cache_keeps_its_budget(app: Flask, client: FlaskClient) -> None:
    app.extensions["shortway-answers"].budget = 1 << 20
    for k in range(200):
        client.post("/v1/voicings", json={"symbol": "C7", "limit": 1000 - k})
    assert 0 < report(app).bytes <= 1 << 20
    assert 0 < report(app).entries < 200


@pytest.mark.parametrize("value", ["-1", "many", "1.5", "٣", "9" * 10])
def test_a_variable_that_is_no_number(monkeypatch: pytest.MonkeyPatch, value: str) -> None:
    monkeypatch.setenv("SHORTWAY_CACHE_MB", value)
    with pytest.raises(ValueError, match="SHORTWAY_CACHE_MB"):
        create_app()


def test_the_variable_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHORTWAY_CACHE_MB", "96")
    quarter = report(create_app()).budget
    monkeypatch.undo()
    assert report(create_app()).budget == 4 * quarter > 0  # of 384 MiB


def test_many_threads_at_once(app: Flask) -> None:
    charts = [f"| C7 | {root}7 |" for root in ("F", "G", "A", "D")]
    wanted = {
        c: app.test_client().post("/v1/paths", json={"chart": {"text": c}}).data for c in charts
    }
    faults: list[str] = []

    def drive(first: int) -> None:
        client = app.test_client()
        for k in range(60):
            chart = charts[(first + k) % len(charts)]
            if client.post("/v1/paths", json={"chart": {"text": chart}}).data != wanted[chart]:
                faults.append(chart)

    threads = [threading.Thread(target=drive, args=(k,)) for k in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert report(app).hits == 240


def test_a_kept_answer_has_the_headers_of_a_computed_one(tmp_path: Path) -> None:
    token = generate_token()
    (tmp_path / "tokens").write_text(token_line("app", token))
    app = create_app(
        {"TOKENS_FILE": str(tmp_path / "tokens"), "CORS_ORIGINS": (OURS,), "RATE_LIMIT": "9/hour"}
    )
    body = {"chart": {"text": "| Dm7 | G7 | Cmaj7 |"}}

    def sent(**headers: str) -> TestResponse:
        return app.test_client().post("/v1/paths", json=body, headers=headers)

    known = {"Authorization": f"Bearer {token}", "Accept-Encoding": "br", "X-Request-Id": "a"}
    computed, kept = sent(**known, Origin=OURS), sent(**known, Origin=OURS)
    assert report(app).hits == 1
    differ = dict(set(computed.headers.items()) ^ set(kept.headers.items()))
    assert set(differ) == {"RateLimit"}
    assert "Access-Control-Allow-Origin" not in sent(**known, Origin="https://evil.example").headers
    assert sent(Origin=OURS).status_code == 401
    assert sent(Origin=OURS, Authorization=f"Bearer {generate_token()}").status_code == 401
    statuses = [sent(**known, Origin=OURS).status_code for _ in range(7)]
    assert statuses == [200] * 6 + [429]  # nine are answered, the stranger's is one of them
