"""Limits from outside: each has a problem of its own, and the manual has its figure.

The figures are our own; what is nested, packed or repeated is as attackers write it.
"""

from __future__ import annotations

import base64
import io
from importlib.resources import files
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

from flask.testing import FlaskClient

from shortway.batch.lines import MAX_LINE
from support import sheets
from support.tables import each_row

MANUAL = files("shortway.docs").joinpath("operations.md").read_text("utf-8")
LONG = "| C7 | F7 |"


def nested(depth: int) -> bytes:
    return b'{"chart": ' + b"[" * depth + b"]" * depth + b"}"


def sheet(*measures: str) -> dict[str, str]:
    return {"musicxml": sheets.score(sheets.measures(*measures))}


def packed(content: bytes) -> dict[str, str]:
    """An .mxl whose score is `content`."""
    held = io.BytesIO()
    with ZipFile(held, "w", ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", sheets.CONTAINER.format("a.musicxml"))
        archive.writestr("a.musicxml", content)
    return {"mxl": base64.b64encode(held.getvalue()).decode()}


def tall(notes: int) -> dict[str, str]:
    """A sheet of few chords and many notes."""
    return sheet(BAR, *[sheets.note("C5", 1) * 16] * (notes // 16))


BAR = sheets.harmony("C", "major") + sheets.note("C5", 16)
WIDE = {"families": ["any-playable"], "notes": 6}
EVERYWHERE = {"lowest": "A0", "highest": "C8", "low_interval_limits": "off"}

AGAIN = '<barline location="right"><repeat direction="backward" times="60"/></barline>'

#: What is asked, the problem, and the row of the manual that says so.
TABLE: list[tuple[str, str, Any, str, str]] = [
    ("body", "/v1/paths", b" " * (1 << 20) + b" ", "body-too-large", "1 MiB"),
    ("nesting", "/v1/paths", nested(5_000), "not-json", "nested"),
    ("nesting, far", "/v1/paths", nested(400_000), "not-json", "nested"),
    ("steps", "/v1/paths",
     {"chart": {"text": "|" + " C7 |" * 4_097}}, "search-too-large", "4,096 steps"),
    ("steps, repeated", "/v1/charts", {"measures": [[{"symbol": "C7"}]], "order": [1] * 4_097},
     "search-too-large", "4,096 steps"),
    ("search", "/v1/paths", {"chart": {"text": LONG * 8}, "setting": WIDE, "top_line": "hold"},
     "search-too-large", "16,000,000"),
    ("voicings", "/v1/paths",
     {"chart": {"text": LONG}, "setting": WIDE | {"notes": 8} | EVERYWHERE},
     "search-too-large", "20,000 voicings"),
    ("alternatives", "/v1/paths",
     {"chart": {"text": LONG}, "alternatives": 51}, "out-of-range", "50"),
    ("apart", "/v1/paths", {"chart": {"text": LONG * 8}, "alternatives": 50, "differs_in": 9},
     "search-too-large", "4,096"),
    ("told", "/v1/paths",
     {"chart": {"text": LONG * 999}, "alternatives": 50}, "search-too-large", "50,000"),
    ("symbols", "/v1/chords", {"symbols": ["C"] * 1_001}, "out-of-range", "1,000 symbols"),
    ("page", "/v1/voicings", {"symbol": "C7", "limit": 1_001}, "out-of-range", "1,000 symbols"),
    ("packed", "/v1/paths", {"chart": packed(b"<a>" + b"<x/>" * 400_000 + b"</a>")},
     "chart-unreadable", "250,000 elements"),
    ("bomb", "/v1/paths", {"chart": packed(b" " * (8 << 20) + b"<a/>")},
     "chart-unreadable", "8 MiB"),
    ("depth", "/v1/paths", {"chart": sheet(BAR + "<x>" * 70 + "</x>" * 70)},
     "chart-unreadable", "64 deep"),
    ("written out", "/v1/scores",
     {"chart": sheet(BAR, BAR + "<x/>" * 20_000 + AGAIN), "setting": {"repeats": "change"},
      "pins": [{"step": 3, "top": "C5"}]}, "search-too-large", "1,000,000 written out"),
    ("midi", "/v1/reviews", {"chart": {"text": LONG}, "midi_file": "AAAA" * 90_000},
     "midi-unreadable", "256 KiB"),
    ("picture", "/v1/scores",
     {"chart": {"text": "|" + " C7 |" * 1_025}, "show": {"picture": "lines"}},
     "search-too-large", "1,024 steps"),
    ("staff", "/v1/scores", {"chart": packed(tall(40_000)["musicxml"].encode())},
     "search-too-large", "4,000,000 characters"),
    ("hits", "/v1/scores", {"chart": {"text": LONG * 100}, "hits": [
        {"beat": 1 + k / 16, "beats": 1 / 16} for k in range(64)]}, "search-too-large", "8,192"),
    ("hits, engraved", "/v1/scores", {"chart": {"text": LONG * 400}, "hits": [
        {"beat": 1 + k / 2, "beats": 1 / 2} for k in range(8)]}, "search-too-large",
     "4,000,000 characters"),
    ("keys", "/v1/exercises", {"chart": {"text": LONG + " C7 |" * 400}, "key_order": "fourths"},
     "search-too-large", "4,096 steps"),
]  # fmt: skip


@each_row(
    "name, path, body, code, row",
    TABLE,
)
def test_each_limit_has_its_problem_and_its_row(
    client: FlaskClient, name: str, path: str, body: Any, code: str, row: str
) -> None:
    data = {"data": body, "content_type": "application/json"} if isinstance(body, bytes) else {}
    accept = {
        "Accept": "image/svg+xml" if name in ("picture", "staff", "hits, engraved") else "*/*"
    }
    response = client.post(path, **(data or {"json": body}), headers=accept)
    said = response.get_json()
    assert (said["code"], response.status_code) == (code, said["status"])
    assert len(said["detail"]) < 300
    table = MANUAL.partition("| limit |")[2].partition("\n\n")[0]
    assert row in table
    assert f"`{code}`" in table


def test_a_line_of_a_batch_has_its_limit(client: FlaskClient) -> None:
    line = (
        b'{"id": "a", "chart": "' + b" " * MAX_LINE + b'"}\n{"id": "b", "chart": {"text": "| C |"}}'
    )
    answer = client.post("/v1/batches", data=line, content_type="application/jsonl")
    first, second = answer.data.splitlines()
    assert b"line-too-large" in first
    assert b'"path"' in second
