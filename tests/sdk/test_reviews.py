"""The client's `review` against the real application."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from shortway.api import create_app
from shortway.core.review.review import review
from shortway.wire.serializers.reviews import review_json
from shortway_client import Client, MidiAlignment, Refused, Review, Setting, TempoChange, to_json
from support.loopback import served

CHART = "| Dm7 | G7 | Cmaj7 | % |"
#: Two whole notes of one key each: header, one track of 96 ticks a quarter note.
FILE = bytes.fromhex(
    "4d546864000000060000000100604d54726b00000016"
    "00903c40" "8300803c40" "00903e40" "8300803e40" "00ff2f00"
)  # fmt: skip


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    with served(create_app()) as url, Client(url) as client:
        yield client


def test_a_review_is_the_services(client: Client) -> None:
    played = [[53, 57, 60, 64], [53, 57, 59, 64], [52, 55, 59], None]
    found = client.review_playing(CHART, played, Setting(hands="left"), loop=True)
    assert isinstance(found, Review)
    expected = review_json(review(CHART, played, {"hands": "left"}, loop=True))
    assert found.excess == expected["excess"]
    assert [f.words for s in found.steps for f in s.findings] == [
        f["words"] for s in expected["steps"] for f in s["findings"]
    ]
    assert found.steps[0].played is not None
    assert [note.degree for note in found.steps[0].played.notes] == ["b3", "5", "b7", "9"]
    assert found.steps[3].played is None
    assert to_json(found.steps[1].best)["midi_notes"] == expected["steps"][1]["best"]["midi_notes"]
    again = client.review_playing(CHART, played, found.setting, loop=True)
    assert again == found


def test_a_file_is_laid_along_the_chart(client: Client) -> None:
    found = client.review_playing("| Dm7 | G7 |", FILE)
    assert [step.played.midi_notes if step.played else () for step in found.steps] == [(60,), (62,)]
    assert found.alignment is not None
    assert found.alignment.taken == 2
    slow = MidiAlignment(tempo_map=(TempoChange(0, 60),), channels=(1,))
    found = client.review_playing("| Dm7 / / G7 |", FILE, align=slow)
    assert [step.played.midi_notes if step.played else () for step in found.steps] == [
        (60, 62),
        (62,),
    ]


def test_a_refusal_says_where(client: Client) -> None:
    with pytest.raises(Refused) as caught:
        client.review_playing(CHART, [[60]])
    assert (caught.value.code, caught.value.errors[0].pointer) == ("played-unreadable", "/played")
    with pytest.raises(Refused) as caught:
        client.review_playing(CHART, b"")
    assert caught.value.code == "midi-unreadable"
