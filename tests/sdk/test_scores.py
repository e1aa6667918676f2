"""The client's `render_score` against the real application."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from shortway.api import create_app
from shortway.services.write_score import write_score
from shortway_client import BadAnswer, Client, Refused, Setting, ShowOptions, _wire
from support.loopback import served

CHART = "| Dm7 | G7 | Cmaj7 | % |"


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    with served(create_app()) as url, Client(url) as client:
        yield client


@pytest.mark.parametrize("kind", ["musicxml", "mxl", "midi", "svg"])
def test_a_score_is_the_services(client: Client, kind: str) -> None:
    found = client.write_score(
        CHART, Setting(hands="left"), kind, title="Lift", tempo=90, held="struck", degrees=True,
        picture="lines", loop=True, pins=[{"step": 0, "form": "A"}], top_line="hold",
    )  # fmt: skip
    asked = {
        "chart": CHART, "setting": {"hands": "left"}, "title": "Lift", "tempo": 90,
        "show": {"held": "struck", "degrees": True, "picture": "lines"}, "loop": True,
        "pins": [{"step": 0, "form": "A"}], "top_line": "hold",
    }  # fmt: skip
    assert found == write_score(asked, kind)[1]


def test_a_lead_sheet_comes_back_with_its_part(client: Client) -> None:
    sheet = client.write_score(CHART, title="Lift").decode()
    joined = client.write_score({"musicxml": sheet}).decode()
    assert joined.count("<score-part ") == 2


def test_timed_events_are_the_services(client: Client) -> None:
    found = client.write_performance(
        CHART, {"hands": "left"}, tempo=60, show=ShowOptions(held="struck")
    )
    assert (found.tempo, found.duration, found.title) == (60, 16.0, None)
    assert {(e.time, e.step, e.hand) for e in found.events} == {
        (4.0 * step, step, "left") for step in range(4)
    }
    path = client.find_path(CHART, {"hands": "left"})
    assert sorted(e.midi for e in found.events if e.step == 1) == list(path.steps[1].midi_notes)


def test_what_is_wrong_is_said(client: Client) -> None:
    with pytest.raises(ValueError, match="no kind of score is 'wav'"):
        client.write_score(CHART, kind="wav")
    with pytest.raises(Refused) as refused:
        client.write_score(CHART, tempo=4)
    assert refused.value.details.errors[0].pointer == "/tempo"
    with pytest.raises(BadAnswer, match="expected audio/midi, found text/html"):
        _wire.read_bytes(_wire.Answer(200, {"content-type": "text/html"}, b"<p>"), "audio/midi")
