"""`POST /v1/exercises`: that it takes its parts from the request, and that its chart goes on."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient
from music21 import converter

from shortway.core.exercises.exercise import exercise
from shortway.wire.example_score import SHEET
from shortway.wire.serializers.exercises import exercise_json

CADENCE = {"text": "key: Eb\n| Fm7 | Bb7 | Ebmaj7 |"}
WALTZ: dict[str, Any] = {
    "title": "Tram Waltz",
    "key": "Dm",
    "meter": "3/4",
    "measures": [
        [{"symbol": "A7", "beats": 1}],
        [{"symbol": "Dm6"}],
        [{"symbol": "Gm7"}, {"symbol": "C7"}],
        [{"symbol": "A7", "beats": 2}],
    ],
    "order": [1, 2, 3, 2, 4],
}


def asked(client: FlaskClient, **body: Any) -> Any:
    response = client.post("/v1/exercises", json=body)
    return response.get_json() | {"status": response.status_code}


def test_every_part_of_the_request_counts(client: FlaskClient) -> None:
    parts: dict[str, Any] = {"loop": True, "top_line": "hold", "start_from": [56, 60, 63, 67]}
    setting = {"hands": "left"}
    said = asked(client, chart=CADENCE, keys=["Eb", "F"], setting=setting, **parts)
    want = exercise_json(exercise(CADENCE, None, setting, keys=["Eb", "F"], **parts))
    assert said == want | {"status": 200}


def test_fourths_are_the_order_where_none_is_given(client: FlaskClient) -> None:
    said = asked(client, chart=CADENCE)
    assert said["key_order"] == "fourths"
    assert len(said["keys"]) == 12


@pytest.mark.parametrize("chart", [CADENCE, WALTZ], ids=["cadence", "waltz"])
def test_its_chart_gives_the_same_path_and_a_score(client: FlaskClient, chart: Any) -> None:
    setting = {"hands": "left"}
    said = asked(client, chart=chart, key_order="half-steps-up", formula="best", setting=setting)
    again = client.post("/v1/paths", json={"chart": said["chart"], "setting": setting})
    assert again.get_json() == said["path"]
    sounding = client.post(
        "/v1/scores",
        json={"chart": said["chart"], "setting": setting},
        headers={"Accept": "audio/midi"},
    )
    assert sounding.data.startswith(b"MThd")


@pytest.mark.parametrize("chart", [CADENCE, WALTZ], ids=["cadence", "waltz"])
def test_a_formula_is_repeated_by_its_notes_and_setting(client: FlaskClient, chart: Any) -> None:
    """The chart, the setting of the answer, and its voicings as pins: the same path again."""
    said = asked(client, chart=chart, key_order="half-steps-up", setting={"hands": "left"})
    steps, setting = said["path"]["steps"], said["path"]["setting"]
    pins = [
        {"step": k, "midi_notes": s["voicing"]["midi_notes"]}
        for k, s in enumerate(steps)
        if s["voicing"]
    ]
    again = client.post(
        "/v1/paths", json={"chart": said["chart"], "setting": setting, "pins": pins}
    ).get_json()
    assert said["formula"] == "same"
    assert [s["voicing"] for s in again["steps"]] == [s["voicing"] for s in steps]
    assert again["motion"] == said["path"]["motion"]


def test_a_formula_is_same_or_best(client: FlaskClient) -> None:
    said = asked(client, chart=CADENCE, formula="other")
    assert (said["status"], said["errors"][0]["pointer"]) == (422, "/formula")
    assert "same" in said["errors"][0]["expected"]


def test_key_signatures_change_with_the_keys(client: FlaskClient) -> None:
    """music21 reads the score: its key signatures, and that every measure is full."""
    said = asked(client, chart=WALTZ)
    score = client.post("/v1/scores", json={"chart": said["chart"]})
    part = converter.parse(score.data.decode(), format="musicxml").parts[0]
    seen: list[tuple[int, int]] = []
    for measure in part.getElementsByClass("Measure"):
        found = measure.keySignature
        if found is not None and (not seen or seen[-1][1] != found.sharps):
            seen.append((measure.number, found.sharps))
        assert measure.duration.quarterLength in (1, 2, 3)
    assert [sharps for _, sharps in seen] == [-1, -2, -3, -4, -5, -6, -7, 4, 3, 2, 1, 0]
    assert [number for number, _ in seen] == [5 * at for at in range(12)]


def test_a_lead_sheet_is_a_chart(client: FlaskClient) -> None:
    said = asked(client, chart={"musicxml": SHEET}, keys=["C", "Db"])
    assert said["status"] == 200, said
    assert said["chart"]["measures"][0][0]["melody"]


@pytest.mark.parametrize(
    ("body", "code", "pointer"),
    [
        ({"key_order": "sixths"}, "out-of-range", "/key_order"),
        ({"key_order": ["Eb"]}, "wrong-type", "/key_order"),
        ({"key_order": "fourths", "keys": ["Eb"]}, "out-of-range", "/keys"),
        ({"keys": ["Eb"] * 25}, "out-of-range", "/keys"),
        ({"keys": ["Eb", 4]}, "wrong-type", "/keys/1"),
        ({"keys": ["Ebm"]}, "out-of-range", "/keys/0"),
        ({"pins": []}, "unknown-field", "/pins"),
        ({"loop": 1}, "wrong-type", "/loop"),
        ({"setting": {"hands": "feet"}}, "out-of-range", "/setting/hands"),
        ({"start_from": [200]}, "out-of-range", "/start_from/0"),
        ({"chart": {"text": "| Xm7 |"}}, "symbol-unreadable", "/chart/text"),
        ({"chart": {"text": "| C |" + " % |" * 400}}, "search-too-large", "/chart"),
    ],
)
def test_what_cannot_be_is_refused(
    client: FlaskClient, body: dict[str, Any], code: str, pointer: str
) -> None:
    said = asked(client, **{"chart": CADENCE, **body})
    assert (said["status"], said["code"]) == (422, code), said
    assert said["errors"][0]["pointer"] == pointer
