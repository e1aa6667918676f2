"""Lead sheets over HTTP: raw bodies, charts inside requests, and what is refused."""

from __future__ import annotations

import base64
import json
from typing import Any

import pytest
from flask.testing import FlaskClient

from support.sheets import harmony, measures, note, packed, score

MUSICXML = "application/vnd.recordare.musicxml+xml"
MXL = "application/vnd.recordare.musicxml"
TEXT = score(
    measures(
        harmony("D", "minor-seventh") + note("F5", 16),
        harmony("G", "dominant") + note("F5", 8) + note("E5", 8),
        harmony("C", "major-seventh") + note("E5", 16)
        + '<barline location="right"><repeat direction="backward"/></barline>',
    )
)  # fmt: skip
FILE = packed({"sheet.musicxml": TEXT}, "sheet.musicxml")
FORMS = [{"musicxml": TEXT}, {"mxl": base64.b64encode(FILE).decode()}]


def test_a_sheet_is_read_as_it_is_and_inside_json(client: FlaskClient) -> None:
    plain = client.post("/v1/charts", data=TEXT.encode(), content_type=MUSICXML).get_json()
    assert [step["symbol"] for step in plain["steps"]] == ["Dm7", "G7", "Cmaj7"] * 2
    assert [step["melody"] for step in plain["steps"][:3]] == [["F5"], ["E5", "F5"], ["E5"]]
    assert plain["chart"]["order"] == [1, 2, 3, 1, 2, 3]
    assert client.post("/v1/charts", data=FILE, content_type=MXL).get_json() == plain
    for form in FORMS:
        assert client.post("/v1/charts", json=form).get_json() == plain
    assert client.post("/v1/charts", json=plain["chart"]).get_json() == plain


@pytest.mark.parametrize("form", FORMS)
def test_a_path_and_a_batch_go_through_a_sheet(client: FlaskClient, form: Any) -> None:
    read = client.post("/v1/charts", json=form).get_json()["chart"]
    setting = {"hands": "left"}
    expected = client.post("/v1/paths", json={"chart": read, "setting": setting}).get_json()
    path = client.post("/v1/paths", json={"chart": form, "setting": setting})
    assert path.status_code == 200
    assert path.get_json() == expected
    line = json.dumps({"id": "a", "chart": form, "setting": setting}) + "\n"
    answer = client.post("/v1/batches", data=line, content_type="application/jsonl")
    assert json.loads(answer.get_data(as_text=True)) == {
        "id": "a", "line": 1, "path": expected, "problem": None,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("path", "field"), [("/v1/paths", "/chart/musicxml"), ("/v1/charts", "/musicxml")]
)
def test_a_bad_sheet_is_a_problem_with_its_place(
    client: FlaskClient, path: str, field: str
) -> None:
    chart = {"musicxml": score(measures(harmony("C", "Tristan") + note("C5", 16)))}
    response = client.post(path, json={"chart": chart} if path == "/v1/paths" else chart)
    said = response.get_json()
    assert (response.status_code, said["code"]) == (422, "symbol-unreadable")
    assert said["errors"][0]["pointer"] == field
    assert "measure 1 of part P1" in said["detail"]


def test_raw_bodies_are_refused_with_the_pointer_to_all(client: FlaskClient) -> None:
    for data, kind in (
        (b"| C |", MUSICXML),
        (b"<score-partwise/>", MUSICXML),
        (TEXT.encode(), MXL),
    ):
        response = client.post("/v1/charts", data=data, content_type=kind)
        assert response.status_code == 422
        assert response.get_json()["errors"][0]["pointer"] == ""
    response = client.post("/v1/paths", data=TEXT.encode(), content_type=MUSICXML)
    assert response.status_code == 415


def test_an_upload_of_50_mb_is_too_large(client: FlaskClient) -> None:
    for kind in (MUSICXML, MXL):
        response = client.post("/v1/charts", data=b"x" * 50_000_000, content_type=kind)
        assert (response.status_code, response.get_json()["code"]) == (413, "body-too-large")
