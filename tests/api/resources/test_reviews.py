"""`POST /v1/reviews`: that it takes its parts from the request and says what the core says."""

from __future__ import annotations

import base64
import io
from typing import Any

import mido
from flask.testing import FlaskClient

from shortway.core.review.review import review
from shortway.wire.serializers.reviews import review_json
from support.tables import each_row

CHART = "| Fm7 | Bb7 | Ebmaj7 | % |"
PLAYED: list[Any] = [[56, 60, 63, 67], [60, 62, 67], [55, 58, 62, 64], None]
LEFT = {"hands": "left"}


def midi(*chords: tuple[int, ...]) -> str:
    """Chords of a measure each, as a file in base64."""
    file = mido.MidiFile(ticks_per_beat=96)
    track = mido.MidiTrack()
    file.tracks.append(track)
    for notes in chords:
        for kind in ("note_on", "note_off"):
            for place, note in enumerate(notes):
                track.append(mido.Message(kind, note=note, time=0 if place else 192))
    out = io.BytesIO()
    file.save(file=out)
    return base64.b64encode(out.getvalue()).decode()


def post(client: FlaskClient, body: Any) -> Any:
    response = client.post("/v1/reviews", json=body)
    assert response.status_code == 200, response.get_json()
    return response.get_json()


def refused(client: FlaskClient, body: Any) -> tuple[int, str, str]:
    response = client.post("/v1/reviews", json=body)
    problem = response.get_json()
    return response.status_code, problem["code"], problem["errors"][0]["pointer"]


def test_reviews_are_the_cores(client: FlaskClient) -> None:
    body = {"chart": {"text": CHART}, "played": PLAYED, "setting": LEFT, "loop": True}
    said = post(client, body)
    assert said == review_json(review(CHART, PLAYED, LEFT, loop=True))
    assert said["excess"] == sum(s["excess"] for s in said["steps"] if s["excess"] is not None)
    assert [[f["code"] for f in step["findings"]] for step in said["steps"]] == [
        [], ["guide-tone-missing"], ["foreign-note"], ["nothing-played"],
    ]  # fmt: skip
    assert (said["faults"], said["remarks"]) == (3, 0)
    assert said["alignment"] is None
    foreign = said["steps"][2]["played"]["notes"][-1]
    assert (foreign["part"], foreign["degree"]) == ("foreign", "b9")
    assert post(client, body | {"setting": said["setting"]}) == said


def test_a_best_path_comes_back_clean_over_http(client: FlaskClient) -> None:
    path = client.post("/v1/paths", json={"chart": {"text": CHART}, "setting": LEFT}).get_json()
    played = [step["voicing"]["midi_notes"] for step in path["steps"]]
    said = post(client, {"chart": {"text": CHART}, "played": played, "setting": LEFT})
    assert (said["excess"], said["faults"], said["remarks"]) == (0, 0, 0)
    assert [step["best"] for step in said["steps"]] == [s["voicing"] for s in path["steps"]]
    assert [step["moves"] for step in said["steps"]] == [s["moves"] for s in path["steps"]]
    assert [step["distance"] for step in said["steps"]] == [0, 0, 0, 0]


def test_a_midi_file_says_what_its_notes_say(client: FlaskClient) -> None:
    file = midi((56, 60, 63, 67), (56, 60, 62, 67), (55, 58, 62, 65))
    body = {"chart": {"text": "| Fm7 | Bb7 | Ebmaj7 |"}, "setting": LEFT}
    by_file = post(client, body | {"midi_file": file, "align": {"start": 2, "channels": [1]}})
    notes = [[56, 60, 63, 67], [56, 60, 62, 67], [55, 58, 62, 65]]
    by_notes = post(client, body | {"played": notes})
    assert by_file["alignment"] == {"taken": 12, "left_out": 0}
    assert by_file | {"alignment": None} == by_notes


SHEET = """<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Lead</part-name>
</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions>
<time><beats>4</beats><beat-type>4</beat-type></time></attributes>
<harmony><root><root-step>F</root-step></root><kind>minor-seventh</kind></harmony>
<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note>
</measure></part></score-partwise>"""


def test_a_chart_may_be_a_lead_sheet(client: FlaskClient) -> None:
    """Its melody counts: the B natural rubs against the C."""
    said = post(client, {"chart": {"musicxml": SHEET}, "played": [[56, 71, 63, 67]]})
    assert [step["symbol"] for step in said["steps"]] == ["Fm7"]
    assert {f["code"] for f in said["steps"][0]["findings"]} == {"foreign-note", "against-melody"}


def test_a_chart_may_be_an_object(client: FlaskClient) -> None:
    chart = {"measures": [[{"symbol": "Fm7"}], [{"symbol": "N.C."}]]}
    said = post(client, {"chart": chart, "played": [[56, 63], [60]]})
    assert said["steps"][1]["played"]["notes"][0]["degree"] is None
    assert said["steps"][1]["findings"][0]["code"] == "no-chord"


FILE = midi((56, 60, 63, 67))


@each_row(
    "more, code, pointer",
    [
        ({}, "played-unreadable", "/played"),
        ({"played": [[60]], "midi_file": FILE}, "played-unreadable", "/midi_file"),
        ({"played": []}, "played-unreadable", "/played"),
        ({"played": [[60], [60]]}, "played-unreadable", "/played"),
        ({"played": "C4"}, "wrong-type", "/played"),
        ({"played": [{"midi_notes": [60]}]}, "wrong-type", "/played/0"),
        ({"played": [[109]]}, "out-of-range", "/played/0/0"),
        ({"played": [["C4"]]}, "wrong-type", "/played/0/0"),
        ({"played": [[60, 60]]}, "played-unreadable", "/played/0/1"),
        ({"played": [[60]], "align": {}}, "played-unreadable", "/align"),
        ({"played": None}, "played-unreadable", "/played"),
        ({"midi_file": 7}, "wrong-type", "/midi_file"),
        ({"midi_file": ""}, "midi-unreadable", "/midi_file"),
        ({"midi_file": "AAAA"}, "midi-unreadable", "/midi_file"),
        ({"midi_file": "no base64"}, "midi-unreadable", "/midi_file"),
        ({"midi_file": FILE, "align": {"start": 400}}, "midi-unreadable", "/midi_file"),
        ({"midi_file": FILE, "align": {"begin": 0}}, "unknown-field", "/align/begin"),
        ({"midi_file": FILE, "align": {"start": "0"}}, "wrong-type", "/align/start"),
        ({"midi_file": FILE, "align": {"tempo_map": [{"at": 0}]}}, "missing-field",
         "/align/tempo_map/0/tempo"),
        ({"midi_file": FILE, "align": {"tempo_map": [{"at": 2, "tempo": 90}]}}, "out-of-range",
         "/align/tempo_map/0/at"),
        ({"played": [[60]], "setting": {"hands": "feet"}}, "out-of-range", "/setting/hands"),
        ({"played": [[60]], "pins": [{"step": 4, "form": "A"}]}, "pin-unplayable",
         "/pins/0/step"),
        ({"played": [[60]], "chart": {"text": "| Fm7 | Bq |"}}, "symbol-unreadable", "/chart/text"),
        ({"played": [[60]], "title": "x"}, "unknown-field", "/title"),
    ],
)  # fmt: skip
def test_what_is_refused(
    client: FlaskClient, more: dict[str, Any], code: str, pointer: str
) -> None:
    assert refused(client, {"chart": {"text": "| Fm7 |"}} | more) == (422, code, pointer)
