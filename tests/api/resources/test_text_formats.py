"""Charts in every text format: as a body of their own type, and in a request."""

from __future__ import annotations

import time
from typing import Any

import pytest
from flask.testing import FlaskClient

from shortway.scores.chart_files.formats import TEXT_FORMATS
from shortway.wire.schemas.charts import ChartInputSchema
from support.tables import each_row

#: What each format's example reads as; those of music21 are read where it is installed.
PLAYED = {
    "grid": ["Eb7", "Ab7"],
    "chordpro": ["Am7", "D7"],
    "lab": ["C:maj7", "A:min7/b3"],
    "abc": ["Am7", "D7"],
    "romantext": ["C", "G7"],
}
OF_MUSIC21 = ("abc", "romantext")
FORMATS = [
    pytest.param(name, marks=pytest.mark.peer if name in OF_MUSIC21 else ()) for name in PLAYED
]


def post(client: FlaskClient, body: Any, kind: str, query: str = "") -> Any:
    return client.post(f"/v1/charts?{query}", data=body, content_type=kind)


def test_every_format_is_here() -> None:
    assert set(PLAYED) == set(TEXT_FORMATS)


@pytest.mark.parametrize("name", FORMATS)
def test_fields_of_other_kinds_may_be_null(client: FlaskClient, name: str) -> None:
    chart = {"text": TEXT_FORMATS[name].example, "text_format": name}
    of_none = dict.fromkeys(ChartInputSchema().fields)
    plain = client.post("/v1/charts", json=chart)
    assert plain.status_code == 200
    assert client.post("/v1/charts", json=of_none | chart).get_json() == plain.get_json()


@pytest.mark.parametrize("name", FORMATS)
def test_a_text_is_read_by_its_type_and_by_text_format(client: FlaskClient, name: str) -> None:
    form = TEXT_FORMATS[name]
    raw = post(client, form.example, form.media_type).get_json()
    assert [step["symbol"] for step in raw["steps"]] == PLAYED[name]
    chart = {"text": form.example, "text_format": name}
    assert client.post("/v1/charts", json=chart).get_json() == raw
    path = client.post("/v1/paths", json={"chart": chart}).get_json()
    assert [step["symbol"] for step in path["steps"]] == PLAYED[name]
    score = client.post("/v1/scores", data=form.example, content_type=form.media_type)
    assert score.status_code == 200


def test_a_chord_and_time_file_says_its_tempo(client: FlaskClient) -> None:
    text = TEXT_FORMATS["lab"].example
    read = post(client, text, "text/x-chord-lab", "tempo=60&meter=2/4").get_json()
    assert (read["tempo"], read["chart"]["meter"]) == (60, "2/4")
    assert post(client, text, "text/x-chord-lab").get_json()["tempo"] == 120
    assert post(client, "| C |", "text/plain").get_json()["tempo"] is None


def test_steps_have_their_place_in_the_text(client: FlaskClient) -> None:
    places = {
        name: [
            (step["line"], step["column"], step["length"])
            for step in post(client, form.example, form.media_type).get_json()["steps"]
        ]
        for name, form in TEXT_FORMATS.items()
        if name not in OF_MUSIC21
    }
    assert places == {
        "grid": [(1, 3, 3), (1, 9, 3)],
        "chordpro": [(1, 4, 3), (1, 24, 2)],
        "lab": [(1, 9, 6), (2, 9, 9)],
    }


@each_row(
    "kind, query, pointer, code",
    [
        ("text/plain", "measure_each=bar", "/measure_each", "out-of-range"),
        ("text/plain", "tempo=90", "/tempo", "unknown-field"),
        ("text/plain", "hands=left", "/hands", "unknown-field"),
        ("text/x-chord-lab", "measure_each=line", "/measure_each", "unknown-field"),
        ("text/x-chord-lab", "tempo=fast", "/tempo", "wrong-type"),
        ("text/x-chord-lab", "tempo=4000", "/tempo", "out-of-range"),
        ("text/x-chord-lab", "meter=4/3", "/meter", "out-of-range"),
        ("application/vnd.recordare.musicxml+xml", "meter=4/4", "/meter", "unknown-field"),
    ],
)
def test_options_of_a_query(
    client: FlaskClient, kind: str, query: str, pointer: str, code: str
) -> None:
    said = post(client, "| C | F |", kind, query).get_json()
    assert (said["code"], said["errors"][0]["pointer"]) == (code, pointer)


@each_row(
    "chart, pointer, code",
    [
        ({"text": "| C |", "text_format": "tab"}, "/chart/text_format", "out-of-range"),
        ({"text": "| C |", "text_format": 3}, "/chart/text_format", "wrong-type"),
        ({"text": "| C |", "tempo": 90}, "/chart/tempo", "unknown-field"),
        ({"text": "| C |", "key": "C"}, "/chart/key", "unknown-field"),
        ({"text": 3}, "/chart/text", "wrong-type"),
        ({"text": "C F"}, "/chart/text", "measures-needed"),
    ],
)
def test_fields_beside_a_text(client: FlaskClient, chart: Any, pointer: str, code: str) -> None:
    said = client.post("/v1/paths", json={"chart": chart}).get_json()
    assert (said["code"], said["errors"][0]["pointer"]) == (code, pointer)


def test_a_fault_has_line_and_column(client: FlaskClient) -> None:
    said = post(client, "{t: Ours}\r\n| [Am]la |\n| [Hm]la |", "text/x-chordpro").get_json()
    (fault,) = said["errors"]
    assert (fault["position"], fault["line"], fault["column"]) == (25, 3, 4)


BAD = {
    "empty": b"",
    "blank": b" \n\n ",
    "Latin-1": "Ça | [Am]".encode("latin-1"),
    "a picture": b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(range(256)),
    "UTF-16": "| C |".encode("utf-16"),
    "one line": b"C" * 1_000_000,
    "one line of words": b"[C] " * 250_000,
    "one line of bars": b"|" * 1_000_000,
}


@pytest.mark.parametrize("name", FORMATS)
@each_row("what", BAD)
def test_what_is_no_chart_is_rejected_at_once(client: FlaskClient, name: str, what: str) -> None:
    began = time.process_time()
    response = post(client, BAD[what], TEXT_FORMATS[name].media_type)
    assert time.process_time() - began < 1
    assert 400 <= response.status_code < 500
    assert response.get_json()["detail"]
