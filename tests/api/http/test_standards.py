"""What the standards say of HTTP and of problems, checked on the service; sources beside each."""

from __future__ import annotations

import re
from typing import Any

import pytest
from flask.testing import FlaskClient

FAILURES: list[tuple[str, str, dict[str, Any]]] = [
    ("GET", "/nothing", {}),
    ("DELETE", "/v1/paths", {}),
    ("GET", "/v1/families", {"headers": {"Accept": "text/html"}}),
    ("POST", "/v1/paths", {"data": b"{", "content_type": "application/json"}),
    ("POST", "/v1/paths", {"data": b"", "content_type": "image/png"}),
    ("POST", "/v1/paths", {"json": {"chart": {"text": "| Y |"}}}),
]


@pytest.mark.parametrize(("method", "path", "sent"), FAILURES)
def test_members_of_a_problem(
    client: FlaskClient, method: str, path: str, sent: dict[str, Any]
) -> None:
    """RFC 9457 section 3.1: type is a URI reference, title and detail strings, status the number
    that was really sent; section 4.2: with another type than about:blank, the title is the
    type's own and does not change from one occurrence to the next."""
    response = client.open(path, method=method, **sent)
    said = response.get_json()
    assert response.mimetype == "application/problem+json"
    assert said["status"] == response.status_code
    assert re.fullmatch(
        r"/docs/errors/[a-z-]+", said["type"]
    )  # 3.1.1: relative, with its full path
    assert isinstance(said["title"], str)
    assert isinstance(said["detail"], str)


def test_title_belongs_to_the_type(client: FlaskClient) -> None:
    """RFC 9457 section 3.1.3: the title should not change from occurrence to occurrence."""
    said = [client.get(f"/v1/chords?symbol={s}").get_json() for s in ("Y", "Cq", "H7")]
    assert len({(s["type"], s["title"]) for s in said}) == 1
    assert len({s["detail"] for s in said}) > 1


def test_405_has_allow(client: FlaskClient) -> None:
    """RFC 9110 section 15.5.6: an origin server MUST send Allow with a 405."""
    response = client.put("/v1/voicings")
    assert response.status_code == 405
    assert "POST" in response.headers["Allow"]


@pytest.mark.parametrize(
    ("path", "methods"),
    [
        ("/v1/chords", "GET, HEAD, OPTIONS, POST"),
        ("/v1/paths", "OPTIONS, POST"),
        ("/v1/batches", "OPTIONS, POST"),
        ("/docs", "GET, HEAD, OPTIONS"),
        ("/docs/charts", "GET, HEAD, OPTIONS"),
        ("/", "GET, HEAD, OPTIONS"),
        ("/page/page.js", "GET, HEAD, OPTIONS"),
        ("/metrics", "GET, HEAD, OPTIONS"),
    ],
)
def test_options_says_the_methods(client: FlaskClient, path: str, methods: str) -> None:
    """RFC 9110 section 9.3.7: OPTIONS asks for no resource, so that neither Accept nor a query
    matters; Allow lists the methods (10.2.1), as it does with a 405."""
    response = client.options(f"{path}?any=1", headers={"Accept": "text/html"})
    assert (response.status_code, response.data) == (204, b"")
    assert response.headers["Allow"] == methods
    assert "Content-Type" not in response.headers
    refused = client.delete(path)
    assert refused.status_code == 405
    assert set(refused.headers["Allow"].split(", ")) == set(methods.split(", "))


def test_options_of_the_whole_service_and_of_nothing(client: FlaskClient) -> None:
    """RFC 9110 section 9.3.7: an asterisk means the server in general (RFC 9112, 3.2.4)."""
    response = client.options("/", environ_overrides={"PATH_INFO": "*"})
    assert (response.status_code, response.headers["Allow"]) == (204, "GET, HEAD, OPTIONS, POST")
    assert client.options("/nothing").status_code == 404


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/docs",
        "/healthz",
        "/readyz",
        "/metrics",
        "/openapi.json",
        "/v1/prices",
        "/page/page.js",
    ],
)
def test_head_wherever_get_is(client: FlaskClient, path: str) -> None:
    """RFC 9110 section 9.1: general-purpose servers must support GET and HEAD."""
    get, head = client.get(path), client.head(path)
    assert (head.status_code, head.data, head.content_type) == (200, b"", get.content_type)


def test_head_of_what_only_takes_a_post(client: FlaskClient) -> None:
    """RFC 9110 sections 15.5.6 and 9.3.2: 405 with Allow, and no content."""
    response = client.head("/v1/paths")
    assert (response.status_code, response.data) == (405, b"")
    assert set(response.headers["Allow"].split(", ")) == {"OPTIONS", "POST"}


def test_415_may_say_what_is_read(client: FlaskClient) -> None:
    """RFC 9110 section 15.5.16: the Accept response field can say which types would have been."""
    response = client.post("/v1/paths", data=b"<x/>", content_type="application/xml")
    assert response.status_code == 415
    assert response.headers["Accept"] == "application/json"


def test_406_for_quality_nought(client: FlaskClient) -> None:
    """RFC 9110 section 12.4.2: q=0 means not acceptable; 12.5.1: the most specific range wins."""
    response = client.get("/healthz", headers={"Accept": "*/*, application/json;q=0"})
    assert response.status_code == 406


def test_304_keeps_the_fields_of_the_200(client: FlaskClient) -> None:
    """RFC 9110 section 15.4.5: a 304 must have the ETag and Cache-Control that a 200 would."""
    full = client.get("/v1/families")
    brief = client.get("/v1/families", headers={"If-None-Match": full.headers["ETag"]})
    assert brief.status_code == 304
    for name in ("ETag", "Cache-Control"):
        assert brief.headers[name] == full.headers[name]


def test_weak_comparison_of_tags(client: FlaskClient) -> None:
    """RFC 9110 section 13.1.2: If-None-Match compares weakly, and a list may hold the tag."""
    tag = client.get("/v1/families").headers["ETag"]
    for sent in (f"W/{tag}", f'"other", {tag}'):
        assert client.get("/v1/families", headers={"If-None-Match": sent}).status_code == 304


def test_head_is_as_get(client: FlaskClient) -> None:
    """RFC 9110 section 9.3.2: HEAD is GET without content, with the same header fields."""
    get, head = client.get("/v1/families"), client.head("/v1/families")
    assert (head.status_code, head.data) == (200, b"")
    assert head.headers["Content-Type"] == get.headers["Content-Type"]


def test_pointers_are_json_pointers(client: FlaskClient) -> None:
    """RFC 6901 section 3: reference tokens follow a slash; ~ is written ~0 and / is written ~1."""
    body = {"chart": {"text": "| C |"}, "a/b~c": 1}
    said = client.post("/v1/paths", json=body).get_json()
    assert said["errors"][0]["pointer"] == "/a~1b~0c"


def test_json_has_no_byte_order_mark(client: FlaskClient) -> None:
    """RFC 8259 section 8.1: UTF-8, and no byte order mark may be added."""
    raw = client.get("/v1/chords?symbol=C").data
    assert raw.decode("utf-8").startswith("{")
