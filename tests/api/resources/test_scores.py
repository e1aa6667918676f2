"""POST /v1/scores: what is answered by Accept, what is refused, what is remembered."""

from __future__ import annotations

import io
import zipfile
from typing import Any
from xml.etree import ElementTree

import mido
import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from support.tables import each_row

XML = "application/vnd.recordare.musicxml+xml"
MXL = "application/vnd.recordare.musicxml"
MIDI = "audio/midi"
SVG = "image/svg+xml"
CHART = "title: Café: 1/2\nkey: Eb\n| Fm7 | Bb7 | Ebmaj7 | % |"


def asked(client: FlaskClient, accept: str | None = None, **body: Any) -> TestResponse:
    headers = {"Accept": accept} if accept else {}
    return client.post("/v1/scores", json={"chart": {"text": CHART}} | body, headers=headers)


@pytest.mark.parametrize(
    ("accept", "kind"),
    [
        (None, XML), ("*/*", XML), (XML, XML), (MXL, MXL), (MIDI, MIDI), ("audio/*", MIDI),
        (SVG, SVG), ("image/*", SVG), (f"{XML};q=0, {MIDI}", MIDI), ("text/html, */*;q=0.1", XML),
    ],
)  # fmt: skip
def test_answer_is_what_is_accepted(client: FlaskClient, accept: str | None, kind: str) -> None:
    response = asked(client, accept)
    assert (response.status_code, response.mimetype) == (200, kind)
    assert "Accept" in response.vary


def test_nothing_accepted_is_a_406(client: FlaskClient) -> None:
    response = asked(client, "application/json")
    assert (response.status_code, response.get_json()["code"]) == (406, "not-acceptable")


def test_kinds_are_remembered_apart(client: FlaskClient) -> None:
    """The same body for each type, twice: an answer kept for one is never given for another."""
    first = {kind: asked(client, kind) for kind in (XML, MXL, MIDI, SVG)}
    again = {kind: asked(client, kind) for kind in (SVG, MIDI, MXL, XML)}
    for kind, response in first.items():
        assert again[kind].data == response.data
        assert again[kind].mimetype == kind
        for name in ("Content-Disposition", "Vary"):
            assert again[kind].headers[name] == response.headers[name]
    assert len({response.data for response in first.values()}) == 4


def test_the_container_is_as_musicxml_says(client: FlaskClient) -> None:
    """W3C, MusicXML 4.0, compressed files: META-INF/container.xml names the root file."""
    with zipfile.ZipFile(io.BytesIO(asked(client, MXL).data)) as file:
        assert file.testzip() is None
        container = ElementTree.fromstring(file.read("META-INF/container.xml"))
        root = container.find("rootfiles/rootfile")
        assert root is not None
        assert root.get("media-type") == XML
        assert file.read(root.get("full-path", "")) == asked(client, XML).data


def test_the_file_is_named_after_the_title(client: FlaskClient) -> None:
    found = asked(client, MIDI).headers["Content-Disposition"]
    assert found == "attachment; filename=\"Caf-1-2.mid\"; filename*=UTF-8''Caf%C3%A9-1-2.mid"
    evil = asked(client, title='../a"; x=\\ 歌').headers["Content-Disposition"]
    assert evil.startswith('attachment; filename="a-x.musicxml"; ')
    nameless = asked(client, chart={"text": "| C |"}).headers["Content-Disposition"]
    assert 'filename="score.musicxml"' in nameless


def test_title_and_tempo_are_in_every_form(client: FlaskClient) -> None:
    body = {"title": "Lift", "tempo": 93.5}
    root = ElementTree.fromstring(asked(client, **body).data)
    assert root.findtext("work/work-title") == "Lift"
    assert root.findtext(".//metronome/per-minute") == "93.5"
    assert [s.get("tempo") for s in root.iter("sound")] == ["93.5"]
    file = mido.MidiFile(file=io.BytesIO(asked(client, MIDI, **body).data))
    assert [m.tempo for m in file.tracks[0] if m.type == "set_tempo"] == [641_711]
    assert b"Lift" in asked(client, SVG, **body).data


@pytest.mark.parametrize(("tempo", "printed"), [(120, (True, "80")), (100, (False, "100"))])
def test_the_tempo_of_six_eight_is_in_dotted_quarters(
    client: FlaskClient, tempo: int, printed: tuple[bool, str]
) -> None:
    """The beat of a compound meter is dotted (Gould; Read, from memory), where it is whole."""
    body = {"chart": {"text": "meter: 6/8\n| Dm7 | G7 |"}, "tempo": tempo}
    root = ElementTree.fromstring(asked(client, **body).data)
    dot = root.find(".//metronome/beat-unit-dot") is not None
    assert (dot, root.findtext(".//metronome/per-minute")) == printed
    assert [s.get("tempo") for s in root.iter("sound")] == [str(tempo)]  # in quarters
    assert f"= {printed[1]}".encode() in asked(client, SVG, **body).data


def test_what_is_shown(client: FlaskClient) -> None:
    full = ElementTree.fromstring(asked(client, show={"degrees": True}).data)
    bare = ElementTree.fromstring(asked(client, show={"symbols": False}).data)
    assert len(list(full.iter("harmony"))) == 4
    assert list(full.iter("lyric"))
    assert list(bare.iter("harmony")) == list(bare.iter("lyric")) == []


@each_row(
    "body, pointer, code",
    [
        ({"tempo": 19}, "/tempo", "out-of-range"),
        ({"tempo": "120"}, "/tempo", "wrong-type"),
        ({"title": ""}, "/title", "out-of-range"),
        ({"title": "two\nlines"}, "/title", "out-of-range"),
        ({"title": 4}, "/title", "wrong-type"),
        ({"show": {"held": "short"}}, "/show/held", "out-of-range"),
        ({"show": {"degrees": 1}}, "/show/degrees", "wrong-type"),
        ({"show": {"colour": True}}, "/show/colour", "unknown-field"),
        ({"show": []}, "/show", "wrong-type"),
        ({"show": {"picture": "fog"}}, "/show/picture", "out-of-range"),
        ({"chart": {"text": "| Xm7 |"}}, "/chart/text", "symbol-unreadable"),
        ({"chart": {"musicxml": "<score"}}, "/chart/musicxml", "chart-unreadable"),
        ({"setting": {"hands": "feet"}}, "/setting/hands", "out-of-range"),
        ({"pins": [{"step": 9, "form": "A"}]}, "/pins/0/step", "pin-unplayable"),
        ({"swing": True}, "/swing", "wrong-type"),
        ({"hits_meter": "3/4"}, "/hits_meter", "out-of-range"),
    ],
)
def test_faults_are_pointed_at(
    client: FlaskClient, body: dict[str, Any], pointer: str, code: str
) -> None:
    response = asked(client, **body)
    assert response.status_code == 422
    said = response.get_json()
    assert (said["code"], said["errors"][0]["pointer"]) == (code, pointer)


def test_a_time_too_fine_for_notes_is_refused_and_still_sounds(client: FlaskClient) -> None:
    short, rest = {"symbol": "C6", "beats": 1 / 64}, {"symbol": "F7", "beats": 63 / 64}
    chart = {"meter": "1/32", "measures": [[short, rest]]}
    said = asked(client, chart=chart)
    assert (said.status_code, said.get_json()["errors"][0]["pointer"]) == (422, "/chart")
    assert asked(client, MIDI, chart=chart).status_code == 200


def test_a_picture_of_too_many_chords_is_refused(client: FlaskClient) -> None:
    chart = {"measures": [[{"symbol": "C6"}]], "order": [1] * 1025}
    said = asked(client, SVG, chart=chart)
    assert (said.status_code, said.get_json()["code"]) == (422, "search-too-large")
    assert asked(client, MIDI, chart=chart).status_code == 200
