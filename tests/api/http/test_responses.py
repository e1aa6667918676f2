"""What every response has, whatever the call: headers, methods, caching, problems."""

from __future__ import annotations

import re

import orjson
import pytest
from flask import Flask
from flask.testing import FlaskClient

from shortway.api import create_app
from shortway.api.http.responses import table_response
from shortway.wire.problems import PROBLEMS, problem

CALLS = [
    ("GET", "/v1/chords?symbol=Eb7", 200),
    ("GET", "/v1/families", 200),
    ("GET", "/healthz", 200),
    ("GET", "/readyz", 200),
    ("GET", "/openapi.json", 200),
    ("GET", "/v1/chords?symbol=Y", 422),
    ("POST", "/v1/paths", 415),
    ("DELETE", "/v1/paths", 405),
    ("GET", "/nothing", 404),
    ("OPTIONS", "/v1/paths", 204),
    ("HEAD", "/v1/families", 200),
]


@pytest.mark.parametrize(("method", "path", "status"), CALLS)
def test_every_response_has_its_headers(
    client: FlaskClient, method: str, path: str, status: int
) -> None:
    response = client.open(path, method=method, headers={"X-Request-Id": "rehearsal-17"})
    assert response.status_code == status
    assert response.headers["API-Version"] == "1"
    assert response.headers["X-Request-Id"] == "rehearsal-17"


def test_a_table_is_made_once(app: Flask) -> None:
    made: list[int] = []

    def table() -> list[int]:
        made.append(len(made))
        return made

    with app.test_request_context():
        assert [table_response(table).data for _ in range(2)] == [b"[0]", b"[0]"]


@pytest.mark.parametrize("given", ["", "a b", "x" * 129, "<script>", "é", 'a"b'])
def test_request_id_that_is_not_sane_is_replaced(client: FlaskClient, given: str) -> None:
    response = client.get("/healthz", headers={"X-Request-Id": given})
    assert re.fullmatch("[0-9a-f]{32}", response.headers["X-Request-Id"])


def test_request_ids_of_our_own_differ(client: FlaskClient) -> None:
    assert len({client.get("/healthz").headers["X-Request-Id"] for _ in range(3)}) == 3


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("DELETE", "/v1/chords", {"GET", "HEAD", "OPTIONS", "POST"}),
        ("GET", "/v1/paths", {"OPTIONS", "POST"}),
        ("POST", "/v1/families", {"GET", "HEAD", "OPTIONS"}),
        ("BREW", "/v1/charts", {"OPTIONS", "POST"}),
    ],
)
def test_wrong_method_says_which_are_allowed(
    client: FlaskClient, method: str, path: str, allowed: set[str]
) -> None:
    response = client.open(path, method=method)
    assert (response.status_code, response.get_json()["code"]) == (405, "method-not-allowed")
    assert {word.strip() for word in response.headers["Allow"].split(",")} == allowed


@pytest.mark.parametrize("path", ["/v1", "/v1/chords/", "//v1/chords", "/v2/chords", "/é"])
def test_nothing_there(client: FlaskClient, path: str) -> None:
    response = client.get(path)
    assert (response.status_code, response.get_json()["code"]) == (404, "not-found")
    assert response.mimetype == "application/problem+json"
    assert client.get(response.get_json()["type"]).status_code == 200  # its page


@pytest.mark.parametrize(
    ("accept", "status"),
    [
        ("", 200),
        ("*/*", 200),
        ("application/*", 200),
        ("application/json", 200),
        ("text/html, application/json;q=0.1", 200),
        ("text/html, */*;q=0.8", 200),
        ("APPLICATION/JSON", 200),
        ("application/problem+json", 200),
        ("application/problem+json;q=0.5, text/html", 200),
        ("application/problem+json;q=0", 406),
        ("text/html", 406),
        ("application/xml", 406),
        ("json", 406),
        (";;;", 406),
        ("*/json", 406),
        ("application/json;q=most", 406),
        ("application/json;q=0", 406),
        ("application/json;q=0, */*", 406),
    ],
)
def test_negotiation(client: FlaskClient, accept: str, status: int) -> None:
    """RFC 9110 section 12.5.1. A range that cannot be read accepts nothing; a client that accepts
    problems gets a 200 all the same, since generators list the type of every response."""
    response = client.get("/v1/families", headers={"Accept": accept})
    assert response.status_code == status
    if status == 406:
        assert response.get_json()["code"] == "not-acceptable"


KEPT = ["/v1/chords?symbol=Abm7b5/Gb", "/v1/families", "/openapi.json"]


@pytest.mark.parametrize("path", KEPT)
def test_answer_of_a_get_may_be_kept(client: FlaskClient, path: str) -> None:
    first = client.get(path)
    tag = first.headers["ETag"]
    assert "max-age" in first.headers["Cache-Control"]
    again = client.get(path, headers={"If-None-Match": tag})
    assert (again.status_code, again.data) == (304, b"")
    assert (again.headers["ETag"], again.headers["API-Version"]) == (tag, "1")
    assert client.get(path, headers={"If-None-Match": '"other"'}).data == first.data
    assert client.get(path, headers={"If-None-Match": "*"}).status_code == 304


def test_tag_follows_from_the_answer_alone(client: FlaskClient) -> None:
    other = create_app().test_client()
    for path in KEPT:
        assert client.get(path).headers["ETag"] == other.get(path).headers["ETag"]
    tags = {client.get(f"/v1/chords?symbol={s}").headers["ETag"] for s in ("C", "F", "Bb")}
    assert len(tags) == 3


@pytest.mark.parametrize("path", ["/healthz", "/readyz", "/v1/chords?symbol=Y", "/nothing"])
def test_what_holds_for_now_is_not_kept(client: FlaskClient, path: str) -> None:
    response = client.get(path)
    assert response.headers["Cache-Control"] == "no-store"
    assert "ETag" not in response.headers


def test_head_is_get_without_a_body(client: FlaskClient) -> None:
    get, head = client.get("/v1/families"), client.head("/v1/families")
    assert head.data == b""
    assert head.headers["ETag"] == get.headers["ETag"]
    assert head.headers["Content-Length"] == str(len(get.data))


def test_address_that_is_too_long(client: FlaskClient) -> None:
    response = client.get("/v1/chords?symbol=C" + "7" * 70_000)
    assert (response.status_code, response.get_json()["code"]) == (414, "uri-too-long")


def test_symbol_of_ten_thousand_characters(client: FlaskClient) -> None:
    long = "C" + "7" * 9_999
    for response in (
        client.get(f"/v1/chords?symbol={long}"),
        client.post("/v1/voicings", json={"symbol": long}),
        client.post("/v1/charts", data=f"| {long} |", content_type="text/plain"),
    ):
        said = response.get_json()
        assert (response.status_code, said["code"]) == (422, "symbol-unreadable")
        assert len(said["detail"]) < 300
        assert "position" in said["errors"][0]


def test_unforeseen_fault_shows_nothing_of_itself(caplog: pytest.LogCaptureFixture) -> None:
    app = create_app({"TESTING": True})

    @app.get("/fault")
    def fault() -> str:
        raise RuntimeError("the secret of line 7")

    response = app.test_client().get("/fault")
    said = response.get_json()
    assert (response.status_code, said["code"]) == (500, "internal-error")
    assert response.mimetype == "application/problem+json"
    assert "secret" not in response.get_data(as_text=True)
    assert "Traceback" not in response.get_data(as_text=True)
    assert response.headers["API-Version"] == "1"
    assert "the secret of line 7" in caplog.text


def test_every_code_has_a_status_and_a_title(app: Flask) -> None:
    assert {status for status, _ in PROBLEMS.values()} >= {400, 404, 405, 406, 413, 422}
    for code, (status, title) in PROBLEMS.items():
        body = problem(code, "said")
        assert body["type"].endswith(f"/{code}")
        assert (body["status"], body["title"]) == (status, title)


def test_every_error_of_the_core_has_a_place_in_the_table() -> None:
    from shortway.core.errors import ShortwayError

    def kinds(cls: type[ShortwayError]) -> set[str]:
        return {cls.code}.union(*(kinds(sub) for sub in cls.__subclasses__()))

    assert kinds(ShortwayError) <= set(PROBLEMS)


def test_bytes_of_an_answer_are_the_same_each_time(client: FlaskClient) -> None:
    body = {"chart": {"text": "| Fm7 | Bb7 | Ebmaj7 | % |"}}
    first = client.post("/v1/paths", json=body).data
    assert client.post("/v1/paths", json=body).data == first
    assert orjson.loads(first)["optimal"] is True
