"""Timed events against the MIDI file of the same request, as two other libraries read it."""

from __future__ import annotations

import io
import warnings
from typing import Any

import mido
import pytest
from flask.testing import FlaskClient

from shortway.wire.example_score import SHEET

MIDI = {"Accept": "audio/midi"}
#: Seconds of half a tick at the slowest tempo below, and of a rounded tempo over the whole file.
NEAR = 0.002
BODIES: dict[str, dict[str, Any]] = {
    "held": {"chart": {"text": "| Dm7 | G7 | Cmaj7 | % |"}},
    "struck": {
        "chart": {"text": "| Dm7 | G7 | Cmaj7 | % |"},
        "tempo": 77,
        "show": {"held": "struck"},
    },
    "comped and swung": {
        "chart": {"text": "| Dm7 G7 | Cmaj7 |"},
        "tempo": 181.5,
        "rhythm": "pushes",
        "swing": 2,
        "loop": True,
    },
    "repeats, silence, another meter": {
        "chart": {"text": "meter: 6/8\n|: Fm7 Bb7 | N.C. :| Ebmaj7 |"},
        "setting": {"bass_player": False},
    },
    "varied choruses": {
        "chart": {"text": "[A] | Dm7 G7 | Cmaj7 |"},
        "rhythm": "varied",
        "choruses": 3,
        "loop": True,
        "section_rhythms": [{"section": "A", "density": "dense"}],
    },
    "a lead sheet": {"chart": {"musicxml": SHEET}, "tempo": 90},
}
EVERY = pytest.mark.parametrize("body", BODIES.values(), ids=BODIES)


def asked(client: FlaskClient, body: dict[str, Any]) -> dict[str, Any]:
    response = client.post("/v1/performances", json=body)
    found: dict[str, Any] = response.get_json()
    assert (response.status_code, response.mimetype) == (200, "application/json"), found
    return found


@EVERY
def test_pretty_midi_reads_the_same_notes_at_the_same_seconds(
    client: FlaskClient, body: dict[str, Any]
) -> None:
    """pretty_midi turns the file's ticks into seconds by itself."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pretty_midi

        file = pretty_midi.PrettyMIDI(
            io.BytesIO(client.post("/v1/scores", json=body | {"roots": "off"}, headers=MIDI).data)
        )
    notes = [note for instrument in file.instruments for note in instrument.notes]
    read = sorted((n.pitch, n.start, n.end - n.start, n.velocity) for n in notes)
    events = asked(client, body)["events"]
    keyed = sorted((e["midi"], e["time"], e["duration"], e["velocity"]) for e in events)
    assert [event[0] for event in keyed] == [note[0] for note in read] != []
    for event, note in zip(keyed, read, strict=True):
        assert event == pytest.approx(note, abs=NEAR)


@EVERY
def test_mido_finds_each_hand_in_its_channel(client: FlaskClient, body: dict[str, Any]) -> None:
    data = client.post("/v1/scores", json=body | {"roots": "off"}, headers=MIDI).data
    struck: dict[str, list[int]] = {"right": [], "left": []}
    for message in mido.MidiFile(file=io.BytesIO(data)):
        if message.type == "note_on":
            struck[("right", "left")[message.channel]].append(message.note)
    for hand, notes in struck.items():
        found = [e["midi"] for e in asked(client, body)["events"] if e["hand"] == hand]
        assert sorted(found) == sorted(notes)


@EVERY
def test_events_belong_to_the_path(client: FlaskClient, body: dict[str, Any]) -> None:
    """Each event is a note of its step's voicing, in the hand that it has there; all of a chord
    that is struck anew is there; the order is by time, then from low to high."""
    found = asked(client, body)
    wanted = {k: v for k, v in body.items() if k in ("chart", "setting", "loop")}
    steps = client.post("/v1/paths", json=wanted).get_json()["steps"]
    for event in found["events"]:
        hand = steps[event["step"]]["voicing"][event["hand"]]
        assert event["midi"] in [note["midi"] for note in hand]
        assert 0 <= event["time"] < event["time"] + event["duration"] <= found["duration"] + 1e-6
    order = [(event["time"], event["midi"]) for event in found["events"]]
    assert order == sorted(order)
    first = {e["midi"] for e in found["events"] if e["time"] == 0}
    assert first == set(steps[0]["voicing"]["midi_notes"])


def test_seconds_of_a_chart_that_is_counted_by_hand(client: FlaskClient) -> None:
    """At 60 a quarter note is a second: four measures of 4/4 are 16 s, the second chord at 4 s."""
    found = asked(
        client, {"chart": {"text": "title: Stairs\n| Dm7 | G7 | Cmaj7 | % |"}, "tempo": 60}
    )
    assert (found["title"], found["tempo"], found["duration"]) == ("Stairs", 60, 16.0)
    assert {e["time"] for e in found["events"]} <= {0.0, 4.0, 8.0}
    last = [e for e in found["events"] if e["step"] == 2]
    assert {e["duration"] for e in last} == {8.0}


def test_a_chart_of_silence_has_no_events(client: FlaskClient) -> None:
    found = asked(client, {"chart": {"text": "| N.C. |"}})
    assert (found["events"], found["duration"], found["title"]) == ([], 2.0, None)


@pytest.mark.parametrize(
    ("more", "code", "pointer"),
    [
        ({"tempo": 4}, "out-of-range", "/tempo"),
        ({"tempo": "120"}, "wrong-type", "/tempo"),
        ({"rhythm": "samba-of-nobody"}, "out-of-range", "/rhythm"),
        ({"swing": 5}, "out-of-range", "/swing"),
        ({"rhythm": "varied", "seed": 2**32}, "out-of-range", "/seed"),
        ({"seed": -1}, "out-of-range", "/seed"),
        ({"seed": 1.5}, "wrong-type", "/seed"),
        ({"density": "thick"}, "out-of-range", "/density"),
        ({"program": "kazoo"}, "out-of-range", "/program"),
        ({"roots": "loud"}, "out-of-range", "/roots"),
        ({"count_in": "yes"}, "wrong-type", "/count_in"),
        ({"choruses": 0}, "out-of-range", "/choruses"),
        ({"choruses": 51}, "out-of-range", "/choruses"),
        ({"section_rhythms": [{"section": "A"}]}, "out-of-range", "/section_rhythms/0/section"),
        ({"hits": [{"beat": 5, "beats": 1}]}, "out-of-range", "/hits/0/beat"),
        ({"hits": [{"beat": 1, "beats": 9}]}, "out-of-range", "/hits/0/beats"),
        ({"chart": {"text": "| H7 |"}}, "symbol-unreadable", "/chart/text"),
        ({"show": {"held": "long"}}, "out-of-range", "/show/held"),
    ],
)
def test_what_is_wrong_is_said(
    client: FlaskClient, more: dict[str, Any], code: str, pointer: str
) -> None:
    response = client.post("/v1/performances", json={"chart": {"text": "| C |"}} | more)
    said = response.get_json()
    assert (response.status_code, said["code"]) == (422, code)
    assert said["errors"][0]["pointer"] == pointer
    assert said["errors"][0].get("expected") or code == "symbol-unreadable"


def test_the_count_in_and_the_roots_are_lists_of_their_own(client: FlaskClient) -> None:
    """At 60 in 3/4 three beats are counted; the music, and its end, come 3 s later."""
    body = {"chart": {"text": "meter: 3/4\n| Dm7 | G7/B |"}, "tempo": 60}
    found = asked(client, body | {"count_in": True, "roots": "audible"})
    plain = asked(client, body)
    assert found["count_in"] == [0, 1, 2]
    assert found["duration"] == plain["duration"] + 3 == 9
    assert [e["time"] for e in found["events"]] == [e["time"] + 3 for e in plain["events"]]
    roots = [(root["time"], root["midi"] % 12, root["step"]) for root in found["roots"]]
    assert roots == [(3, 2, 0), (6, 11, 1)]
    assert not {"count_in", "roots"} & plain.keys()


def test_scalar_options_stand_in_the_query_of_a_raw_chart(client: FlaskClient) -> None:
    text = "| Dm7 | G7 | Cmaj7 | % |"
    options = {
        "rhythm": "varied", "seed": 9, "density": "dense", "choruses": 2, "count_in": True,
        "roots": "audible", "program": "vibraphone", "vary": True,
    }  # fmt: skip
    query = {name: str(v).lower() if isinstance(v, bool) else v for name, v in options.items()}
    raw = client.post(
        "/v1/performances", data=text, query_string=query, content_type="text/plain"
    ).get_json()
    assert raw == asked(client, {"chart": {"text": text}, **options})
