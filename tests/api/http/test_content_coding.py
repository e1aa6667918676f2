"""Compressed responses: who gets which coding, and that none is made twice."""

from __future__ import annotations

import gzip
from typing import Any

import brotli
import pytest
from flask import Flask
from flask.testing import FlaskClient

from shortway.api import create_app
from shortway.core.cache import CacheReport

PATH = {"chart": {"text": "| Dm7 G7 | Cmaj7 A7 |"}}
SVG = {
    "headers": {"Accept": "image/svg+xml"},
    "json": {"chart": {"text": "| C |"}, "show": {"picture": "lines"}},
}
DECODE = {"br": brotli.decompress, "gzip": gzip.decompress, None: bytes}


def coded(client: FlaskClient, path: str, coding: str, **more: Any) -> Any:
    headers = {"Accept-Encoding": coding} | more.pop("headers", {})
    return client.open(path, headers=headers, **more)


def answers(app: Flask) -> CacheReport:
    found: CacheReport = app.extensions["shortway-answers"].report()
    return found


@pytest.mark.parametrize(
    ("accepts", "coding"),
    [
        ("gzip", "gzip"),
        ("br", "br"),
        ("gzip, deflate, br, zstd", "br"),  # what browsers send
        ("*", "br"),
        ("br;q=0.5, gzip;q=0.8", "gzip"),
        ("br ; q=0.5,gzip ;q=0.4", "br"),
        ("br;q=0, *", "gzip"),
        ("identity, gzip;q=0.5", None),
        ("gzip;q=0", None),
        ("*;q=0", None),
        ("deflate, compress", None),
        ("GZIP", "gzip"),
        ("gzip;q=much", None),
        (";;,", None),
        ("", None),
    ],
)
def test_the_coding_that_is_preferred(
    client: FlaskClient, accepts: str, coding: str | None
) -> None:
    """RFC 9110 sections 12.5.3 and 12.4.2: weights from 0 to 1, 0 is not acceptable, * is any that
    is not named; names are case-insensitive (8.4.1), blanks may stand beside a semicolon."""
    plain = client.post("/v1/paths", json=PATH).data
    response = coded(client, "/v1/paths", accepts, method="POST", json=PATH)
    assert response.headers.get("Content-Encoding") == coding
    assert DECODE[coding](response.data) == plain
    assert response.headers["Content-Length"] == str(len(response.data))
    assert "Accept-Encoding" in response.vary  # section 12.5.5: whichever it is


@pytest.mark.parametrize(
    ("path", "sent"),
    [
        ("/v1/families", {}),
        ("/openapi.json", {}),
        ("/", {}),
        ("/docs", {}),
        ("/page/page.js", {}),
        ("/v1/scores", {"method": "POST", "json": PATH}),
        ("/v1/scores", {"method": "POST"} | SVG),
        ("/metrics", {}),
    ],
)  # fmt: skip
def test_texts_shrink(client: FlaskClient, path: str, sent: dict[str, Any]) -> None:
    plain = coded(client, path, "identity", **dict(sent))
    small = coded(client, path, "br", **dict(sent))
    assert small.headers["Content-Encoding"] == "br"
    assert len(small.data) < len(plain.data) * 0.6
    if path != "/metrics":  # which counts its own requests
        assert brotli.decompress(small.data) == plain.data


def test_short_and_packed_responses_stay_as_they_are(client: FlaskClient) -> None:
    packed = {"headers": {"Accept": "application/vnd.recordare.musicxml"}, "json": PATH}
    for response in (
        coded(client, "/healthz", "gzip"),
        coded(client, "/nothing", "gzip"),
        coded(client, "/v1/scores", "gzip", method="POST", **packed),
    ):
        assert "Content-Encoding" not in response.headers


def test_a_long_problem_is_coded_too(client: FlaskClient) -> None:
    body = {"chart": {"text": "| C |"}, **{f"unknown{k}": 1 for k in range(50)}}
    response = coded(client, "/v1/paths", "gzip", method="POST", json=body)
    assert (response.status_code, response.headers["Content-Encoding"]) == (422, "gzip")
    assert b"unknown49" in gzip.decompress(response.data)


def test_each_coding_has_its_own_strong_tag(client: FlaskClient) -> None:
    """RFC 9110 section 8.8.3.3 with example: representations that differ in their content coding
    have different strong tags; 13.1.2: If-None-Match compares with the selected one; 15.4.5: a 304
    has the ETag and Vary that the 200 would have had."""
    tags = {}
    for coding in ("identity", "gzip", "br"):
        full = coded(client, "/v1/families", coding)
        tags[coding] = full.headers["ETag"]
        assert not tags[coding].startswith("W/")
        again = coded(client, "/v1/families", coding, headers={"If-None-Match": tags[coding]})
        assert (again.status_code, again.data) == (304, b"")
        assert again.headers["ETag"] == tags[coding]
        assert "Accept-Encoding" in again.vary
        assert "Content-Encoding" not in again.headers
    assert len(set(tags.values())) == 3
    other = coded(client, "/v1/families", "br", headers={"If-None-Match": tags["gzip"]})
    assert other.status_code == 200
    any_ = coded(client, "/v1/families", "br", headers={"If-None-Match": "*"})
    assert any_.status_code == 304


def test_head_has_the_fields_of_the_coded_get(client: FlaskClient) -> None:
    """RFC 9110 section 9.3.2."""
    get = coded(client, "/v1/families", "br")
    head = coded(client, "/v1/families", "br", method="HEAD")
    assert head.data == b""
    for name in ("ETag", "Content-Encoding", "Content-Length", "Content-Type", "Vary"):
        assert head.headers[name] == get.headers[name]


def test_no_coding_is_made_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[int] = []
    compress = brotli.compress
    monkeypatch.setattr(
        brotli, "compress", lambda body, **how: (made.append(1), compress(body, **how))[1]
    )
    app = create_app()
    client = app.test_client()
    for sent in ({"path": "/v1/paths", "method": "POST", "json": PATH}, {"path": "/v1/families"}):
        made.clear()
        found = [coded(client, coding="br", **dict(sent)).data for _ in range(3)]
        assert (len(made), len(set(found))) == (1, 1)
    assert answers(app).entries == 2


def test_the_cache_keeps_each_coding_and_counts_its_real_size() -> None:
    app = create_app()
    client = app.test_client()
    plain = client.post("/v1/paths", json=PATH).data
    held = answers(app).bytes
    small = coded(client, "/v1/paths", "gzip", method="POST", json=PATH).data
    assert answers(app).entries == 2
    assert answers(app).bytes - held - len(small) == held - len(plain)
    for coding, wanted in (("gzip", small), ("identity", plain)):
        again = coded(client, "/v1/paths", coding, method="POST", json=PATH)
        assert again.data == wanted
        assert again.headers["Vary"] == "Accept-Encoding"
    assert answers(app).hits == 2


def test_without_a_cache_all_are_coded_as_well() -> None:
    app = create_app()
    app.extensions["shortway-answers"].budget = 0
    client = app.test_client()
    for response in (
        coded(client, "/v1/paths", "br", method="POST", json=PATH),
        coded(client, "/v1/families", "br"),
    ):
        assert brotli.decompress(response.data).startswith(b"{")


def test_a_batch_is_not_coded_here(client: FlaskClient) -> None:
    """A batch answers line by line and has a gzip of its own, flushed after each line."""
    line = b'{"id": "a", "chart": {"text": "| C |"}}\n' * 3
    sent = {"method": "POST", "data": line, "content_type": "application/jsonl"}
    response = coded(client, "/v1/batches", "br", **sent)
    assert "Content-Encoding" not in response.headers
    once = coded(client, "/v1/batches", "br, gzip", **sent)
    assert once.headers.get_all("Content-Encoding") == ["gzip"]
    assert gzip.decompress(once.data) == response.data


def test_a_compressed_request_is_rejected(client: FlaskClient) -> None:
    """RFC 9110 section 15.5.16 and 12.5.3: a coding that is not read is answered 415, with the
    Accept-Encoding of what is."""
    packed = gzip.compress(b'{"chart": {"text": "| C |"}}')
    for path, kind, codings in (
        ("/v1/paths", "application/json", "identity"),
        ("/v1/charts", "text/plain", "identity"),
        ("/v1/batches", "application/jsonl", "gzip, identity"),
    ):
        headers = {"Content-Encoding": "br" if "batches" in path else "gzip"}
        response = client.post(path, data=packed, content_type=kind, headers=headers)
        assert (response.status_code, response.get_json()["code"]) == (
            415,
            "unsupported-media-type",
        )
        assert response.headers["Accept-Encoding"] == codings
