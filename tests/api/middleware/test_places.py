"""Places for batches: one too many is told at once to come back, and each place is given back."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from shortway.api import create_app
from shortway_client import Client
from support.loopback import served

LINE = b'{"id": "a", "chart": "| Dm7 | G7 |"}\n'


@pytest.fixture
def client() -> FlaskClient:
    return create_app({"MOST_BATCHES": 2}).test_client()


def begun(client: FlaskClient, kind: str = "application/jsonl", body: bytes = LINE) -> TestResponse:
    """A batch whose answer is not read yet."""
    return client.post("/v1/batches", data=body, content_type=kind)


def test_one_too_many_is_refused_at_once_and_others_are_not(client: FlaskClient) -> None:
    held = [begun(client) for _ in range(2)]
    refused = begun(client)
    assert (refused.status_code, refused.get_json()["code"]) == (503, "unavailable")
    assert refused.headers["Retry-After"] == "1"
    assert client.post("/v1/paths", json={"chart": "| C | F |"}).status_code == 200
    assert [b'"path"' in response.data for response in held] == [True, True]


def test_a_place_is_given_back_however_it_ends(client: FlaskClient) -> None:
    def read_whole() -> None:
        assert begun(client).data

    def read_whole_and_closed() -> None:
        response = begun(client)
        assert response.data
        response.close()

    def left_unread() -> None:
        begun(client).close()

    def no_gzip() -> None:
        headers = {"Content-Encoding": "gzip"}
        response = client.post("/v1/batches", data=b"x", content_type="application/jsonl",
                               headers=headers)  # fmt: skip
        assert b"not-gzip" in response.data

    def refused() -> None:
        assert begun(client, "text/xml").status_code == 415

    for end in (read_whole, read_whole_and_closed, left_unread, no_gzip, refused):
        for _ in range(3):
            end()
    held = [begun(client) for _ in range(2)]
    assert [response.status_code for response in held] == [200, 200]
    for response in held:
        response.close()


def test_a_client_with_more_windows_than_places_is_answered_whole() -> None:
    requests = [{"id": str(k), "chart": "| Dm7 | G7 |"} for k in range(1_500)]
    with (
        served(create_app({"MOST_BATCHES": 1})) as url,
        Client(url) as shortway,
    ):
        found = [result.id for result in shortway.solve_paths(requests, workers=4)]
    assert found == [request["id"] for request in requests]
