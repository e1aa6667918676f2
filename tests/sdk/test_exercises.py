"""The client's `exercise` against the real application."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from shortway.api import create_app
from shortway.core.exercises.exercise import exercise
from shortway.wire.serializers.exercises import exercise_json
from shortway_client import Chart, Client, Exercise, Refused, Setting, to_json
from support.loopback import served

CHART = "| Dm7 | G7 | Cmaj7 | % |"


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    with served(create_app()) as url, Client(url) as client:
        yield client


def test_an_exercise_is_the_services(client: Client) -> None:
    asked = {"loop": True, "start_from": [60, 64, 65, 69], "top_line": "hold"}
    found = client.write_exercise(CHART, Setting(hands="left"), "half-steps-down", **asked)  # type: ignore[arg-type]
    assert isinstance(found, Exercise)
    expected = exercise(CHART, "half-steps-down", {"hands": "left"}, **asked)  # type: ignore[arg-type]
    told = exercise_json(expected)
    assert (found.key, found.inferred, found.key_order) == ("C", True, "half-steps-down")
    assert [to_json(one) for one in found.sections] == told["sections"]
    assert to_json(found.chart) == told["chart"]
    assert found.path.motion == expected.path.motion


def test_its_chart_goes_on_to_other_calls(client: Client) -> None:
    found = client.write_exercise({"measures": [[{"symbol": "C6"}]]}, keys=["C", "Db", "C"])
    assert (found.key_order, found.keys) == (None, ("C", "Db", "C"))
    assert isinstance(found.chart, Chart)
    assert found.chart.fresh == (1, 2, 3)
    assert client.find_path(found.chart) == found.path
    assert client.write_score(found.chart, kind="midi").startswith(b"MThd")


def test_a_refusal_says_where(client: Client) -> None:
    with pytest.raises(Refused) as caught:
        client.write_exercise(CHART, keys=["C", "Am"])
    assert (caught.value.code, caught.value.errors[0].pointer) == ("out-of-range", "/keys/1")
    assert str(caught.value).endswith(" (out-of-range): /keys/1, expected A")
    with pytest.raises(
        Refused, match=r"\(symbol-unreadable\): /chart/text, character 2 from 0, expected"
    ):
        client.write_exercise("| H7 |")
