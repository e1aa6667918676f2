"""Each call: that it takes its parts from the request and says what the core says."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient

from shortway.core.charts import parse_json_chart, parse_text_chart
from shortway.core.solver import solve
from shortway.core.symbols import parser as symbols
from shortway.wire.serializers.chords import chord_json
from shortway.wire.serializers.paths import path_json
from support.charts import placeless

CHART = "| Fm7 | Bb7 | Ebmaj7 | % |"
BAND = {"families": ["guide-tone-extended"]}


def post(client: FlaskClient, call: str, body: Any) -> Any:
    response = client.post(f"/v1/{call}", json=body)
    assert response.status_code == 200, response.get_json()
    return response.get_json()


# --- chords -----------------------------------------------------------------------------------


@pytest.mark.parametrize("symbol", ["Abm7b5/Gb", "C+7", "F#m7", "N.C.", "Ebmaj7"])
def test_chord_is_the_cores(client: FlaskClient, symbol: str) -> None:
    said = client.get("/v1/chords", query_string={"symbol": symbol}).get_json()
    assert said == chord_json(symbols.parse(symbol))
    assert said["symbol"] == symbol


def test_one_bad_symbol_does_not_sink_the_rest(client: FlaskClient) -> None:
    chords = post(client, "chords", {"symbols": ["Eb7", "Xm7", "", "Fm7"]})["chords"]
    assert [each["chord"] and each["chord"]["name"] for each in chords] == [
        "Eb7",
        None,
        None,
        "Fm7",
    ]
    assert chords[1]["symbol"] == "Xm7"
    problem = chords[1]["problem"]
    assert (problem["code"], problem["status"]) == ("symbol-unreadable", 422)
    assert problem["errors"][0]["pointer"] == "/symbols/1"
    assert problem["errors"][0]["position"] == 0
    assert chords[2]["problem"]["code"] == "symbol-unreadable"


def test_chords_takes_a_thousand(client: FlaskClient) -> None:
    assert len(post(client, "chords", {"symbols": ["C7"] * 1000})["chords"]) == 1000


# --- families ---------------------------------------------------------------------------------


def test_families_are_the_table(client: FlaskClient) -> None:
    families = client.get("/v1/families").get_json()["families"]
    ids = [family["id"] for family in families]
    assert ids[:4] == ["guide-tone", "guide-tone-extended", "guide-tone-full", "shell"]
    assert all(family["serves"] and family["about"] for family in families)


# --- voicings ---------------------------------------------------------------------------------


def test_pages_of_voicings_make_the_whole(client: FlaskClient) -> None:
    whole = post(client, "voicings", {"symbol": "Bb7", "limit": 1000})
    assert whole["total"] == len(whole["voicings"])
    pages = [
        post(client, "voicings", {"symbol": "Bb7", "limit": 7, "offset": offset})["voicings"]
        for offset in range(0, whole["total"], 7)
    ]
    assert [v for page in pages for v in page] == whole["voicings"]
    past = post(client, "voicings", {"symbol": "Bb7", "offset": whole["total"]})
    assert (past["voicings"], past["total"]) == ([], whole["total"])


def test_limit_is_a_hundred_by_default(client: FlaskClient) -> None:
    body = {"symbol": "C7", "setting": {"families": ["close", "drop-2", "drop-3", "spread"],
                                        "notes": 4}}  # fmt: skip
    said = post(client, "voicings", body)
    assert len(said["voicings"]) == min(100, said["total"])


def test_after_puts_the_nearest_first(client: FlaskClient) -> None:
    after = post(client, "voicings", {"symbol": "Fm7", "setting": BAND})["voicings"][0][
        "midi_notes"
    ]
    said = post(client, "voicings", {"symbol": "Bb7", "setting": BAND, "after": after})
    motion = [voicing["motion"] for voicing in said["voicings"]]
    assert motion == sorted(motion)
    assert "motion" not in post(client, "voicings", {"symbol": "Bb7"})["voicings"][0]


def test_resolved_setting_says_the_same_again(client: FlaskClient) -> None:
    first = post(client, "voicings", {"symbol": "Bb7"})
    assert post(client, "voicings", {"symbol": "Bb7", "setting": first["setting"]}) == first


# --- charts -----------------------------------------------------------------------------------


def test_text_chart_in_either_wrapping(client: FlaskClient) -> None:
    text = "key: Eb\n|: Ebmaj7 | Fm7 Bb7 :|\n"
    plain = client.post("/v1/charts", data=text.encode(), content_type="text/plain").get_json()
    assert post(client, "charts", {"text": text}) == plain
    assert plain["chart"]["key"] == "Eb"
    assert plain["chart"]["order"] == [1, 2, 1, 2]
    assert [(s["measure"], s["beat"], s["symbol"]) for s in plain["steps"]] == 2 * [
        (1, 1, "Ebmaj7"), (2, 1, "Fm7"), (2, 3, "Bb7"),
    ]  # fmt: skip


def test_chart_of_an_answer_may_be_sent_again(client: FlaskClient) -> None:
    said = post(client, "charts", {"text": "title: Lobby\nmeter: 3/4\n|: Gm6 |1. D7b9 :|2. Gm6 |"})
    assert placeless(said) == placeless(post(client, "charts", said["chart"]))
    assert parse_json_chart(said["chart"]) == parse_text_chart(
        "title: Lobby\nmeter: 3/4\n|: Gm6 |1. D7b9 :|2. Gm6 |"
    )


def test_thirds_of_a_measure_are_numbers(client: FlaskClient) -> None:
    said = post(client, "charts", {"text": "| C F G |"})
    assert [s["beats"] for s in said["steps"]] == 3 * [4 / 3]
    assert [s["beat"] for s in said["steps"]] == [1, 7 / 3, 11 / 3]


TEXTS = [
    (422, "chart-unreadable", b"", 0),
    (422, "chart-unreadable", b"|: C | F |", 0),
    (422, "symbol-unreadable", b"| C | Xm |", 6),
    (422, "symbol-unreadable", "| C | Caf\u00e9 |".encode(), None),
    (422, "beats-do-not-fit", b"| C / / / / |", 10),
    (422, "search-too-large", b"| C " * 4097, None),
    (400, "not-text", "| Caf\u00e9 |".encode("latin-1"), None),
    (400, "not-text", "| C |".encode("utf-16"), None),
]


@pytest.mark.parametrize(("status", "code", "text", "position"), TEXTS)
def test_refuses_a_text_chart(
    client: FlaskClient, status: int, code: str, text: bytes, position: int | None
) -> None:
    response = client.post("/v1/charts", data=text, content_type="text/plain; charset=utf-8")
    said = response.get_json()
    assert (response.status_code, said["code"]) == (status, code)
    assert said["errors"][0]["pointer"] == ""
    if position is not None:
        assert said["errors"][0]["position"] == position


def test_pointers_into_a_json_chart_begin_at_the_body(client: FlaskClient) -> None:
    body = {"measures": [[{"symbol": "C"}], [{"symbol": "Q"}]]}
    said = client.post("/v1/charts", json=body).get_json()
    assert said["errors"][0]["pointer"] == "/measures/1/0/symbol"


# --- paths ------------------------------------------------------------------------------------


def test_path_is_the_cores(client: FlaskClient) -> None:
    said = post(client, "paths", {"chart": {"text": CHART}, "setting": BAND})
    assert said == path_json(solve.solve(CHART, BAND))
    assert said["optimal"] is True
    assert said["motion"] == sum(step["motion"] for step in said["steps"])


def test_every_field_of_a_path_reaches_the_core(client: FlaskClient) -> None:
    first = post(client, "paths", {"chart": {"text": CHART}, "setting": BAND})
    notes = first["steps"][1]["voicing"]["midi_notes"]
    body = {
        "chart": {"meter": "4/4", "measures": [[{"symbol": "Fm7", "beats": 4}],
                                               [{"symbol": "Bb7", "beats": 4}]]},
        "setting": BAND,
        "loop": True,
        "pins": [{"step": 1, "midi_notes": notes}],
        "start_from": notes,
    }  # fmt: skip
    said = post(client, "paths", body)
    assert said["steps"][1]["voicing"]["midi_notes"] == notes
    assert said["loop_motion"] == said["steps"][0]["motion"]
    assert said["start_motion"] is not None
    assert first["start_motion"] is None
    assert first["loop_motion"] is None


def test_nothing_leads_to_a_chord_without_a_voicing(client: FlaskClient) -> None:
    setting = {"families": ["rootless-three"], "hands": "left"}
    asked = {"symbol": "Ab6/9", "setting": setting, "after": [53, 57, 60, 64, 67]}
    found = client.post("/v1/voicings", json=asked)
    assert (found.status_code, found.get_json()["voicings"]) == (200, [])


def test_no_chord_has_no_voicing(client: FlaskClient) -> None:
    said = post(client, "paths", {"chart": {"text": "| Fm7 | N.C. | Bb7 |"}})
    assert (said["steps"][1]["voicing"], said["steps"][1]["motion"]) == (None, None)


def test_range_that_leaves_nothing_says_which_step(client: FlaskClient) -> None:
    body = {"chart": {"text": CHART}, "setting": {"lowest": "C8", "highest": "D8"}}
    response = client.post("/v1/paths", json=body)
    said = response.get_json()
    assert (response.status_code, said["code"]) == (422, "no-voicing")
    assert "0" in said["detail"] or "Fm7" in said["detail"]
    assert sum(said["excluded"].values()) > 0


def test_symbol_in_a_text_chart_has_its_place(client: FlaskClient) -> None:
    said = client.post("/v1/paths", json={"chart": {"text": "| C | Xm |"}}).get_json()
    assert said["code"] == "symbol-unreadable"
    assert (said["errors"][0]["pointer"], said["errors"][0]["position"]) == ("/chart/text", 6)


def test_families_without_a_common_size_need_notes(client: FlaskClient) -> None:
    body = {"chart": {"text": CHART}, "setting": {"families": ["guide-tone", "guide-tone-full"]}}
    said = client.post("/v1/paths", json=body).get_json()
    assert said["code"] == "notes-needed"
    assert said["errors"][0]["pointer"] == "/setting/notes"


# --- melody and top line ------------------------------------------------------------------------

SUNG = {"measures": [[{"symbol": "Fm7", "melody": ["Ab5"]}], [{"symbol": "Bb7", "ceiling": "E5"}]]}


def test_a_melody_reaches_paths_and_their_candidates(client: FlaskClient) -> None:
    said = post(client, "paths", {"chart": SUNG, "top_line": "rise"})
    assert said == path_json(solve.solve(SUNG, top_line="rise"))
    assert said["top_line_motion"] == 0
    assert (said["steps"][0]["melody"], said["steps"][1]["ceiling"]) == (["Ab5"], "E5")
    over = [{"symbol": "Fm7", "melody": ["Ab5"]}, {"symbol": "Bb7", "ceiling": "E5"}]
    totals = [post(client, "voicings", {**of})["total"] for of in over]
    assert said["size"]["candidates"] == sum(totals)


def test_a_melody_that_leaves_nothing(client: FlaskClient) -> None:
    chart = {"measures": [[{"symbol": "Fm7"}], [{"symbol": "Bb7", "ceiling": "C3"}]]}
    response = client.post("/v1/paths", json={"chart": chart})
    said = response.get_json()
    assert (response.status_code, said["code"]) == (422, "no-voicing")
    assert said["errors"][0]["pointer"] == "/chart/measures/1/0/ceiling"
    assert said["excluded"]["ceiling"] > 0
    assert "higher ceiling" in said["errors"][0]["expected"]


@pytest.mark.parametrize(
    ("call", "body", "code", "pointer"),
    [
        ("paths", {"chart": {"text": CHART}, "top_line": "up"}, "out-of-range", "/top_line"),
        ("paths", {"chart": {"text": CHART}, "top_line": 1}, "wrong-type", "/top_line"),
        ("paths", {"chart": {"text": CHART}, "setting": {"melody": "sing"}}, "out-of-range",
         "/setting/melody"),
        ("voicings", {"symbol": "C7", "melody": ["H5"]}, "out-of-range", "/melody/0"),
        ("voicings", {"symbol": "C7", "melody": "E5"}, "wrong-type", "/melody"),
        ("voicings", {"symbol": "C7", "ceiling": 76}, "wrong-type", "/ceiling"),
        ("voicings", {"symbol": "C7", "top": [60]}, "wrong-type", "/top"),
    ],
)  # fmt: skip
def test_melodies_and_lines_that_are_none(
    client: FlaskClient, call: str, body: Any, code: str, pointer: str
) -> None:
    said = client.post(f"/v1/{call}", json=body).get_json()
    assert (said["code"], said["errors"][0]["pointer"]) == (code, pointer)
