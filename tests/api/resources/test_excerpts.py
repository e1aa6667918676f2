"""Excerpts of scores: measures of the whole path, against its score and its steps."""

from __future__ import annotations

from typing import Any
from xml.etree import ElementTree as ET

from flask.testing import FlaskClient

from shortway.wire.example_score import SHEET
from support.tables import each_row

CHART = "key: C\n| Dm7 | G7 Db7 |: Cmaj7 | A7 |1. Dm7 :|2. C6 |"


def events(client: FlaskClient, **body: Any) -> list[dict[str, Any]]:
    """The timed events of a request."""
    response = client.post("/v1/performances", json={"chart": {"text": CHART}, **body})
    assert response.status_code == 200, response.get_json()
    found: list[dict[str, Any]] = response.get_json()["events"]
    return found


@each_row(
    "measures, steps",
    [
        ((2, 3), range(1, 4)),
        ((3, 4), range(3, 5)),  # ends before the first ending
        ((3, 5), range(3, 8)),  # with its repeat: 3 4 5 3 4
        ((None, 2), range(3)),
        ((6, None), range(8, 9)),
        ((None, None), range(9)),
    ],
)
def test_an_excerpt_sounds_as_the_whole_does(
    client: FlaskClient, measures: tuple[int | None, int | None], steps: range
) -> None:
    whole = events(client, show={"held": "struck"})
    given = dict(zip(("from_measure", "to_measure"), measures, strict=True))
    found = events(client, show={"held": "struck"}, **given)
    begin = min(e["time"] for e in whole if e["step"] == steps[0])
    assert found == [e | {"time": e["time"] - begin} for e in whole if e["step"] in steps]


def test_an_excerpt_is_notated(client: FlaskClient) -> None:
    body = {"chart": {"text": CHART}, "from_measure": 2, "to_measure": 3}
    root = ET.fromstring(client.post("/v1/scores", json=body).data)
    assert [m.get("number") for m in root.iter("measure")] == ["1", "2"]
    assert [h.findtext("root/root-step") for h in root.iter("harmony")] == ["G", "D", "C"]


def test_full_measures_of_another_meter_are_no_pickup(client: FlaskClient) -> None:
    measures = [[{"symbol": "C6", "beats": beats}] for beats in (4, 3, 3)]
    chart = {"measures": measures, "meters": [{"measure": 2, "meter": "3/4"}]}
    score = client.post("/v1/scores", json={"chart": chart, "from_measure": 2}).data
    named = [dict(measure.attrib) for measure in ET.fromstring(score).iter("measure")]
    assert named == [{"number": "1"}, {"number": "2"}]


def test_pictures_and_lead_sheets_take_excerpts(client: FlaskClient) -> None:
    for picture in ("lines", "keyboards", "staff"):
        body = {
            "chart": {"text": CHART},
            "from_measure": 2,
            "to_measure": 2,
            "show": {"picture": picture},
        }
        drawn = client.post("/v1/scores", json=body, headers={"Accept": "image/svg+xml"})
        assert drawn.status_code == 200
    sheet = {"chart": {"musicxml": SHEET}, "from_measure": 1, "to_measure": 1}
    root = ET.fromstring(client.post("/v1/scores", json=sheet).data)
    assert len(root.findall("part")) == len(root.findall("part/measure")) == 1


@each_row(
    "measures, pointer",
    [
        ((7, None), "/from_measure"),
        ((3, 2), "/to_measure"),
        ((2, 7), "/to_measure"),
        ((0, 2), "/from_measure"),
    ],
)
def test_measures_that_are_not_there(
    client: FlaskClient, measures: tuple[int, int | None], pointer: str
) -> None:
    body = {"chart": {"text": CHART}, "from_measure": measures[0], "to_measure": measures[1]}
    problem = client.post("/v1/scores", json=body).get_json()
    assert (problem["code"], problem["errors"][0]["pointer"]) == ("out-of-range", pointer)


def test_measures_that_are_never_played(client: FlaskClient) -> None:
    chart = {"measures": [[{"symbol": s}] for s in ("C", "F", "G")], "order": [1, 3]}
    problem = client.post("/v1/scores", json={"chart": chart, "from_measure": 2, "to_measure": 2})
    assert problem.get_json()["errors"][0]["pointer"] == "/from_measure"
