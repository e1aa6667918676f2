"""Charts as the body of `/v1/scores` and `/v1/performances`, their options in the query."""

from __future__ import annotations

import base64
import json
from typing import Any
from urllib.parse import urlencode

import pytest
from flask.testing import FlaskClient

from shortway.scores.chart_files.formats import TEXT_FORMATS
from shortway.wire.example_score import PACKED_SHEET, SHEET
from shortway.wire.query_options import query_options
from shortway.wire.schemas.scores import ScoreRequestSchema, ShowOptionsSchema
from shortway.wire.schemas.settings import SettingSchema
from support.tables import each_row

Json = dict[str, Any]
JSON, TEXT = "application/json", "text/plain"
TEXTS = [each.media_type for each in TEXT_FORMATS.values()]
XML, MXL = "application/vnd.recordare.musicxml+xml", "application/vnd.recordare.musicxml"
MIDI, SVG = "audio/midi", "image/svg+xml"
CHART = "| Dm7 | G7 | Cmaj7 |"
LAB = "0.0 1.5 D:min7\n1.5 3.0 G:7\n3.0 6.0 C:maj7\n"
PACKED = base64.b64decode(PACKED_SHEET)


def sent(client: FlaskClient, call: str, body: Any, kind: str, query: str = "", **more: Any) -> Any:
    return client.post(f"/v1/{call}?{query}", data=body, content_type=kind, **more)


# body, content type, query, the same as JSON
SAME: list[tuple[str | bytes, str, Json, Json]] = [
    (SHEET, XML, {}, {"chart": {"musicxml": SHEET}}),
    (PACKED, MXL, {}, {"chart": {"mxl": PACKED_SHEET}}),
    (CHART, TEXT, {}, {"chart": {"text": CHART}}),
    (f"\ufeff{SHEET}".encode(), XML, {}, {"chart": {"musicxml": SHEET}}),
    (SHEET.replace("UTF-8", "UTF-16").encode("utf-16"), XML, {}, {"chart": {"musicxml": SHEET}}),
    (SHEET, XML, {"hands": "left", "tempo": "120"},
     {"chart": {"musicxml": SHEET}, "setting": {"hands": "left"}, "tempo": 120}),
    (CHART, TEXT,
     {"title": "Lift & Stairs", "tempo": "96.5", "loop": "true", "top_line": "hold",
      "held": "struck", "degrees": "true", "symbols": "false", "bass_player": "false",
      "reach_mm": "200", "lowest": "E2", "notes": "4", "tensions": "written", "pricing": "none"},
     {"chart": {"text": CHART}, "title": "Lift & Stairs", "tempo": 96.5, "loop": True,
      "top_line": "hold",
      "show": {"held": "struck", "degrees": True, "symbols": False},
      "setting": {"bass_player": False, "reach_mm": 200, "lowest": "E2", "notes": 4,
                  "tensions": "written", "pricing": "none"}}),
    (json.dumps({"chart": {"text": CHART}, "tempo": 60, "setting": {"hands": "left",
     "repeats": "change"}}),
     JSON, {"tempo": "90", "hands": "both"},
     {"chart": {"text": CHART}, "tempo": 90, "setting": {"hands": "both", "repeats": "change"}}),
    ("Dm7 G7 Cmaj7", TEXT, {"measure_each": "symbol", "tempo": "90"},
     {"chart": {"text": "Dm7 G7 Cmaj7", "measure_each": "symbol"}, "tempo": 90}),
    (json.dumps({"chart": {"text": "Dm7 G7 Cmaj7"}}), JSON, {"measure_each": "symbol"},
     {"chart": {"text": "Dm7 G7 Cmaj7", "measure_each": "symbol"}}),
    (LAB, "text/x-chord-lab", {"meter": "3/4", "tempo": "120"},
     {"chart": {"text": LAB, "text_format": "lab", "meter": "3/4", "tempo": 120}, "tempo": 120}),
    (json.dumps({"chart": {"text": CHART}, "setting": None}), JSON, {"hands": "left"},
     {"chart": {"text": CHART}, "setting": {"hands": "left"}}),
]  # fmt: skip


@each_row("body, kind, query, same", SAME)
def test_a_chart_with_a_query_is_the_same_request_as_json(
    client: FlaskClient, body: Any, kind: str, query: Json, same: Json
) -> None:
    for call in ("scores", "performances"):
        found = sent(client, call, body, kind, urlencode(query))
        wanted = client.post(f"/v1/{call}", json=same)
        assert (wanted.status_code, found.data) == (200, wanted.data)
        assert found.headers.get("Content-Disposition") == wanted.headers.get("Content-Disposition")


def test_every_scalar_of_the_schemas_is_an_option() -> None:
    """No name stands for two fields, and none of a list or an object is there."""
    options = query_options(ScoreRequestSchema())
    fields = [
        *ScoreRequestSchema().load_fields, *SettingSchema().load_fields,
        *ShowOptionsSchema().load_fields, "measure_each", "meter",
    ]  # fmt: skip
    assert len([name for name in fields if name in options]) == len(options)
    assert set(fields) - set(options) >= {
        "chart",
        "pins",
        "families",
        "prices",
        "start_from",
        "show",
    }
    assert set(options) >= {
        "format", "title", "tempo", "loop", "hands", "preset", "notes", "lowest", "reach",
        "degrees", "picture", "width", "alternatives",
    }  # fmt: skip


def test_the_document_shows_every_option(client: FlaskClient) -> None:
    document = client.get("/openapi.json").get_json()
    for path in ("/v1/scores", "/v1/performances"):
        operation = document["paths"][path]["post"]
        shown = {p["name"]: p for p in operation["parameters"] if p["in"] == "query"}
        assert set(shown) == set(query_options(ScoreRequestSchema()))
        assert not any(p.get("required") for p in shown.values())
        assert all({"type", "$ref"} & p["schema"].keys() for p in shown.values())
        assert all(p["description"] for p in shown.values())
        assert {XML, MXL, TEXT, JSON} <= set(operation["requestBody"]["content"])


# call, body, content type, query, code, pointer
WRONG: list[tuple[str, Any, str, str, str, str]] = [
    ("scores", SHEET, XML, "hand=left", "unknown-field", "/hand"),
    ("scores", SHEET, XML, "families=rootless", "unknown-field", "/families"),
    ("scores", SHEET, XML, "chart=C", "unknown-field", "/chart"),
    ("scores", SHEET, XML, "tempo=90&tempo=100", "out-of-range", "/tempo"),
    ("scores", SHEET, XML, "hands=feet", "out-of-range", "/hands"),
    ("scores", SHEET, XML, "tempo=4", "out-of-range", "/tempo"),
    ("scores", SHEET, XML, "tempo=fast", "wrong-type", "/tempo"),
    ("scores", SHEET, XML, "tempo=true", "wrong-type", "/tempo"),
    ("scores", SHEET, XML, "tempo=", "wrong-type", "/tempo"),
    ("scores", SHEET, XML, "tempo=null", "wrong-type", "/tempo"),
    ("scores", SHEET, XML, "notes=[]", "wrong-type", "/notes"),
    ("scores", SHEET, XML, "tempo=NaN", "wrong-type", "/tempo"),
    ("scores", SHEET, XML, "notes=4.5", "wrong-type", "/notes"),
    ("scores", SHEET, XML, "loop=1", "wrong-type", "/loop"),
    ("scores", SHEET, XML, "loop=True", "wrong-type", "/loop"),
    ("scores", SHEET, XML, "width=3", "out-of-range", "/width"),
    ("scores", SHEET, XML, "held=long", "out-of-range", "/held"),
    ("scores", SHEET, XML, "format=docx", "out-of-range", "/format"),
    ("scores", SHEET, XML, "measure_each=symbol", "unknown-field", "/measure_each"),
    ("scores", "Dm7 G7", TEXT, "measure_each=bar", "out-of-range", "/measure_each"),
    ("scores", "Dm7 G7", TEXT, "", "measures-needed", ""),
    ("scores", "| Dm7 |", TEXT, "meter=3/4", "unknown-field", "/meter"),
    ("scores", "<score", XML, "", "chart-unreadable", ""),
    ("scores", "", XML, "", "chart-unreadable", ""),
    ("scores", b"PK\3\4no", MXL, "hands=left", "chart-unreadable", ""),
    ("scores", SHEET, MXL, "", "chart-unreadable", ""),
    ("scores", "| C | Hm |", TEXT, "", "symbol-unreadable", ""),
    ("scores", "", TEXT, "", "chart-unreadable", ""),
    ("performances", "| C |", TEXT, "temp=3", "unknown-field", "/temp"),
    ("performances", "| C7 |", TEXT, "lowest=C6&highest=D6", "no-voicing", ""),
    ("scores", '{"chart": {"text": "C"}, "setting": {"hands": "feet"}}', JSON, "", "out-of-range",
     "/setting/hands"),
    ("scores", '{"chart": {"text": "C"}, "setting": {"hands": "feet"}}', JSON, "tempo=90",
     "out-of-range",
     "/setting/hands"),
    ("scores", '{"chart": {"text": "C"}, "setting": 4}', JSON, "hands=left", "wrong-type",
     "/setting"),
    ("scores", "[]", JSON, "hands=left", "wrong-type", ""),
    ("scores", "{", JSON, "hands=left", "not-json", ""),
    ("paths", '{"chart": {"text": "C"}}', JSON, "hands=left", "unknown-field", "/hands"),
    ("charts", SHEET, XML, "hands=left", "unknown-field", "/hands"),
]  # fmt: skip


@each_row("call, body, kind, query, code, pointer", WRONG)
def test_what_is_wrong_is_said_where_it_was_sent(
    client: FlaskClient, call: str, body: Any, kind: str, query: str, code: str, pointer: str
) -> None:
    response = sent(client, call, body, kind, query)
    said = response.get_json()
    assert (response.status_code // 100, said["code"]) == (4, code)
    assert said["errors"][0]["pointer"].startswith(pointer)
    assert pointer == "" or said["errors"][0]["pointer"] == pointer
    assert said["errors"][0].get("expected") or code in ("no-voicing", "not-json")


def test_an_unknown_name_is_told_what_there_is(client: FlaskClient) -> None:
    said = sent(client, "scores", SHEET, XML, "hand=left").get_json()
    assert "hands, " in said["errors"][0]["expected"]
    assert (
        said["errors"][0]["expected"].endswith(" or with_least_motion")
        or "width" in (said["errors"][0]["expected"])
    )


@pytest.mark.parametrize("kind", ["application/xml", "application/x-www-form-urlencoded", ""])
def test_another_content_type_is_told_which_there_are(client: FlaskClient, kind: str) -> None:
    """RFC 9110 section 15.5.16; curl sends application/x-www-form-urlencoded unless told."""
    response = sent(client, "scores", SHEET, kind, "hands=left")
    assert response.status_code == 415
    assert response.headers["Accept"] == ", ".join([JSON, *TEXTS, XML, MXL])


# --- format ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("accept", ["*/*", XML, "application/json", "text/html", "image/*;q=0.1"])
def test_format_beats_the_accept_header(client: FlaskClient, accept: str) -> None:
    """RFC 9110 section 12.5.1 lets a server disregard Accept; who names a format means it."""
    headers = {"Accept": accept}
    in_query = sent(client, "scores", CHART, TEXT, "format=midi", headers=headers)
    in_body = client.post(
        "/v1/scores", json={"chart": {"text": CHART}, "format": "midi"}, headers=headers
    )
    for response in (in_query, in_body):
        assert (response.status_code, response.mimetype) == (200, MIDI)
        assert response.data.startswith(b"MThd")
        assert ".mid" in response.headers["Content-Disposition"]
    svg = client.post("/v1/scores?format=svg", json={"chart": {"text": CHART}, "format": "midi"})
    assert svg.mimetype == SVG


def test_no_format_is_kept_for_another(client: FlaskClient) -> None:
    """The same body with another query, and the same query with another Accept, in every order."""
    queries = ["format=midi", "format=mxl", "", "tempo=90"]
    first = {q: sent(client, "scores", CHART, TEXT, q).data for q in queries}
    assert len(set(first.values())) == 4
    for query in reversed(queries):
        assert sent(client, "scores", CHART, TEXT, query).data == first[query]
    refused = sent(client, "scores", CHART, TEXT, "", headers={"Accept": "text/html"})
    assert refused.status_code == 406
    again = sent(client, "scores", CHART, TEXT, "", headers={"Accept": MIDI})
    assert again.data == first["format=midi"]


@pytest.mark.parametrize(
    ("accept", "mimetype"),
    [
        (f"{MIDI};q=0.4, {SVG};q=0.6", SVG),
        (f"*/*;q=0.1, {MIDI};q=0.2", MIDI),
        (f"{MIDI}, {XML}", XML),
        (f"{XML};q=0.999, {MIDI}", MIDI),
        (f"*/*, {XML};q=0", MXL),
        ("application/problem+json", XML),
        (f"{SVG}, application/problem+json", SVG),
        (", ".join([XML, MXL, MIDI, SVG, "application/problem+json"]), XML),
    ],
)
def test_weights_choose_the_format(client: FlaskClient, accept: str, mimetype: str) -> None:
    """RFC 9110 sections 12.4.2 and 12.5.1: the largest weight wins, the most specific range has
    its own; a list with the type of a problem in it is a generated client's."""
    response = sent(client, "scores", CHART, TEXT, headers={"Accept": accept})
    assert (response.status_code, response.mimetype) == (200, mimetype)
