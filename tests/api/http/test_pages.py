"""The pages as files over HTTP: types, policy, caching, refusals. What they do: `tests/browser`."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from shortway.api.http.pages import FILES, PAGES
from support.tables import each_row

ADDRESSES = [*PAGES, *(f"/page/{name}" for name in FILES)]


@each_row("address", ADDRESSES)
def test_a_page_is_sent_with_its_policy_and_may_be_kept(client: FlaskClient, address: str) -> None:
    said = client.get(address)
    assert said.status_code == 200
    assert said.headers["X-Content-Type-Options"] == "nosniff"
    policy = dict(
        part.split(" ", 1) for part in said.headers["Content-Security-Policy"].split("; ")
    )
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["connect-src"] == "'self'"
    again = client.get(address, headers={"If-None-Match": said.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")


@pytest.mark.parametrize("address", PAGES)
def test_a_page_asks_for_nothing_elsewhere_and_has_no_script_inside(
    client: FlaskClient, address: str
) -> None:
    text = client.get(address).get_data(as_text=True)
    assert not re.search(r"https?://|<script(?![^>]*src=)|<style| style=| on\w+=", text)
    for file in re.findall(r'(?:src|href)="(/page/[^"]+)"', text):
        assert client.get(file).status_code == 200


def test_the_examples_are_the_demos_charts(client: FlaskClient) -> None:
    found = client.get("/page/examples.json").get_json()
    assert len(found) == 3
    for example in found:
        said = client.post("/v1/charts", data=example["text"], content_type="text/plain")
        assert said.get_json()["chart"]["title"] == example["title"]


@pytest.mark.parametrize(
    ("method", "address", "headers", "status"),
    [
        ("GET", "/page/pages.py", {}, 404),
        ("GET", "/page/..%2fapp.py", {}, 404),
        ("POST", "/", {}, 405),
        ("GET", "/", {"Accept": "application/pdf"}, 406),
        ("GET", "/docs?page=2", {}, 422),
    ],
)
def test_what_is_not_a_page_is_a_problem(
    client: FlaskClient, method: str, address: str, headers: dict[str, str], status: int
) -> None:
    said = client.open(address, method=method, headers=headers)
    assert said.status_code == status
    assert said.content_type == "application/problem+json"
