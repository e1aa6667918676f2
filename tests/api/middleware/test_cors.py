"""Other sites' pages: who may call from a browser and who may not, and what none may do.

Headers after the Fetch standard (CORS protocol, CORP) and CSP 3.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from flask.testing import FlaskClient

from shortway.api import create_app
from shortway.api.middleware import token_store as tokens
from shortway.api.middleware.cors import EXPOSED_HEADERS
from support.tables import each_row

OURS = "https://app.example"
LOCAL = "http://localhost:3000"
OTHERS = [
    "https://evil.example", "http://app.example", "https://app.example:444", "null", "",
    "https://app.example.evil.example", "https://APP.example", "https://app.example/", "*",
    "https://app.exampl", f"{OURS}, https://evil.example", f"{OURS} ",
]  # fmt: skip
SAYS = "Access-Control-Allow-Origin"


@pytest.fixture
def client() -> FlaskClient:
    return create_app({"CORS_ORIGINS": (OURS, LOCAL)}).test_client()


@pytest.mark.parametrize("origin", [OURS, LOCAL])
@pytest.mark.parametrize(
    ("path", "status"),
    [("/v1/families", 200), ("/v1/chords?symbol=Y", 422), ("/nothing", 404), ("/healthz", 200)],
)
def test_an_allowed_page_may_read_answers_and_problems(
    client: FlaskClient, origin: str, path: str, status: int
) -> None:
    response = client.get(path, headers={"Origin": origin})
    assert (response.status_code, response.headers[SAYS]) == (status, origin)
    assert "Origin" in response.vary
    shown = {name.strip() for name in response.headers["Access-Control-Expose-Headers"].split(",")}
    assert shown == set(EXPOSED_HEADERS) > {"ETag", "X-Request-Id", "Retry-After", "RateLimit"}
    assert "Access-Control-Allow-Credentials" not in response.headers


@each_row("origin", OTHERS)
@each_row("method", ["GET", "OPTIONS"])
def test_no_other_page_may(client: FlaskClient, origin: str, method: str) -> None:
    headers = {"Origin": origin, "Access-Control-Request-Method": "GET"}
    response = client.open("/v1/families", method=method, headers=headers)
    assert not [name for name, _ in response.headers if name.startswith("Access-Control")]
    assert "Origin" in response.vary


def test_without_an_origin_nothing_is_allowed_and_caches_are_told(client: FlaskClient) -> None:
    response = client.get("/v1/families")
    assert SAYS not in response.headers
    assert "Origin" in response.vary


def test_vary_keeps_what_it_had(client: FlaskClient) -> None:
    response = client.post(
        "/v1/scores", json={"chart": {"text": "| C7 | F7 |"}}, headers={"Origin": OURS}
    )
    assert {"Accept", "Accept-Encoding", "Origin"} == set(response.vary)


def test_a_preflight_is_answered_without_a_token_and_the_call_is_not(tmp_path: Path) -> None:
    (tmp_path / "tokens").write_text(tokens.token_line("app", token := tokens.generate_token()))
    config = {"CORS_ORIGINS": (OURS,), "TOKENS_FILE": str(tmp_path / "tokens")}
    client = create_app(config | {"RATE_LIMIT": "1/minute"}).test_client()
    asks = {"Origin": OURS, "Access-Control-Request-Method": "POST",
            "Access-Control-Request-Headers": "authorization,content-type"}  # fmt: skip
    for _ in range(3):
        response = client.options("/v1/paths", headers=asks)
        assert (response.status_code, response.data) == (204, b"")
    assert response.headers[SAYS] == OURS
    assert "POST" in response.headers["Access-Control-Allow-Methods"]
    allowed = response.headers["Access-Control-Allow-Headers"].lower()
    assert all(name in allowed for name in ("authorization", "content-type", "x-request-id"))
    assert int(response.headers["Access-Control-Max-Age"]) > 0
    body = {"chart": {"text": "| C7 | F7 |"}}
    refused = client.post("/v1/paths", json=body, headers={"Origin": OURS})
    assert (refused.status_code, refused.headers[SAYS]) == (401, OURS)
    given = {"Origin": OURS, "Authorization": f"Bearer {token}"}
    assert client.post("/v1/paths", json=body, headers=given).status_code == 200


def test_without_a_list_there_is_no_word_of_it() -> None:
    client = create_app().test_client()
    headers = {"Origin": OURS, "Access-Control-Request-Method": "POST"}
    for method in ("GET", "OPTIONS"):
        response = client.open("/v1/families", method=method, headers=headers)
        assert SAYS not in response.headers
        assert "Origin" not in response.vary


# --- what a browser may make of an answer ---------------------------------------------------------


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", "/v1/families"), ("POST", "/v1/paths"), ("GET", "/nothing"), ("GET", "/healthz"),
        ("GET", "/openapi.json"), ("GET", "/metrics"), ("DELETE", "/v1/paths"),
    ],
)  # fmt: skip
def test_every_answer_is_data_and_nothing_else(method: str, path: str) -> None:
    headers = create_app().test_client().open(path, method=method).headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Content-Security-Policy"] == "default-src 'none'; frame-ancestors 'none'"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"


@pytest.mark.parametrize("path", ["/", "/docs", "/docs/charts", "/docs/reference", "/page/page.js"])
def test_pages_keep_their_own_policy(path: str) -> None:
    headers = create_app().test_client().get(path).headers
    assert "script-src 'self'" in headers["Content-Security-Policy"]
    assert len(headers.get_all("Content-Security-Policy")) == 1
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Cross-Origin-Opener-Policy"] == "same-origin"
