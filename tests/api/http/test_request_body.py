"""What may be wrong with a request before any music is in it: a table of requests and problems."""

from __future__ import annotations

import json
from typing import Any

import pytest
from flask.testing import FlaskClient

from shortway.api import create_app
from shortway.api.resources.charts import KINDS
from shortway.batch.lines import answer_line
from support.tables import each_row

JSON = "application/json"
Json = dict[str, Any]
CHART = b'{"chart": {"text": "| C |"}}'

# status, code, body, content type
BODIES: list[tuple[int, str, bytes, str | None]] = [
    (400, "not-json", b"", JSON),
    (400, "not-json", b"{", JSON),
    (400, "not-json", b"{'chart': 1}", JSON),
    (400, "not-json", b"[" * 5000 + b"]" * 5000, JSON),
    (400, "not-json", b'{"a":' * 5000 + b"1" + b"}" * 5000, JSON),
    (400, "not-json", b"[" * 1020 + b"]" * 1020, JSON),
    (400, "not-json", b"1" * 5000, JSON),
    (400, "not-json", b'{"chart": ' + b"9" * 5000 + b"}", JSON),
    (400, "not-json", b'{"chart": NaN}', JSON),
    (400, "not-json", b'{"chart": Infinity}', JSON),
    (400, "not-json", b'{"chart": 1e999}', JSON),
    (400, "not-json", b'{"chart": {"text": "| C |"}, "chart": {"text": "| F |"}}', JSON),
    (400, "not-json", b'{"chart": {"text": "| C |"}} {}', JSON),
    (400, "not-json", rb'{"chart": {"text": "\ud800"}}', JSON),
    (400, "not-json", '{"chart": {"text": "Café"}}'.encode("latin-1"), JSON),
    (400, "not-json", CHART.decode().encode("utf-16"), JSON),
    (400, "not-json", CHART.decode().encode("utf-16-le"), JSON),
    (400, "not-json", b"\xef\xbb\xbf" + CHART, JSON),
    (413, "body-too-large", b" " * (1024 * 1024 + 1), JSON),
    (415, "unsupported-media-type", CHART, None),
    (415, "unsupported-media-type", CHART, "text/plain"),
    (415, "unsupported-media-type", CHART, "application/xml"),
    (415, "unsupported-media-type", CHART, "application/x-www-form-urlencoded"),
    (415, "unsupported-media-type", CHART, "multipart/form-data; boundary=x"),
    (415, "unsupported-media-type", CHART, "application/json; charset=latin-1"),
    (415, "unsupported-media-type", CHART, "nonsense"),
    (422, "wrong-type", b"[]", JSON),
    (422, "wrong-type", b"null", JSON),
    (422, "wrong-type", b'"| C |"', JSON),
    (422, "wrong-type", b"4", JSON),
    (422, "missing-field", b"{}", JSON),
]


@each_row("status, code, body, kind", BODIES)
def test_refuses_a_body(
    client: FlaskClient, status: int, code: str, body: bytes, kind: str | None
) -> None:
    response = client.post("/v1/paths", data=body, content_type=kind)
    said = response.get_json()
    assert (response.status_code, said["status"], said["code"]) == (status, status, code)
    assert response.mimetype == "application/problem+json"
    assert said["detail"]


def test_takes_a_body_in_utf_8_whatever_it_says_of_it(client: FlaskClient) -> None:
    for kind in (JSON, "application/json; charset=UTF-8", "Application/JSON"):
        assert client.post("/v1/paths", data=CHART, content_type=kind).status_code == 200


def test_position_of_a_slip_in_json(client: FlaskClient) -> None:
    response = client.post("/v1/paths", data=b'{"chart": {"text": "| C |"},}', content_type=JSON)
    assert response.get_json()["errors"][0]["position"] in (27, 28)


def test_packed_body_is_refused(client: FlaskClient) -> None:
    response = client.post(
        "/v1/paths", data=b"\x1f\x8b", content_type=JSON, headers={"Content-Encoding": "gzip"}
    )
    assert response.get_json()["code"] == "unsupported-media-type"


def test_wrong_body_type_names_the_right_ones(client: FlaskClient) -> None:
    response = client.post("/v1/charts", data=b"x", content_type="image/png")
    assert response.headers["Accept"] == ", ".join(["application/json", *KINDS])


@pytest.mark.parametrize("limit", [len(CHART), 1024 * 1024])
def test_body_limit_counts_bytes(limit: int) -> None:
    small = create_app({"MAX_CONTENT_LENGTH": limit}).test_client()
    fits = CHART + b" " * (limit - len(CHART))
    assert small.post("/v1/paths", data=fits, content_type=JSON).status_code == 200
    assert small.post("/v1/paths", data=fits + b" ", content_type=JSON).status_code == 413


# code, pointer, call, body
FIELDS: list[tuple[str, str, str, Any]] = [
    ("unknown-field", "/tempo", "paths", {"chart": {"text": "| C |"}, "tempo": 120}),
    ("out-of-range", "/alternatives", "paths", {"chart": {"text": "| C |"}, "alternatives": 51}),
    ("wrong-type", "/alternatives", "paths", {"chart": {"text": "| C |"}, "alternatives": "2"}),
    ("out-of-range", "/differs_in", "paths", {"chart": {"text": "| C |"}, "differs_in": 0}),
    ("unknown-field", "/pins/0/a~1b", "paths",
     {"chart": {"text": "C"}, "pins": [{"step": 0, "a/b": 1}]}),
    ("unknown-field", "/chart/swing", "paths", {"chart": {"text": "C", "swing": 1}}),
    ("unknown-field", "/setting/hand", "paths",
     {"chart": {"text": "| C |"}, "setting": {"hand": "left"}}),
    ("unknown-field", "/setting/range", "paths",
     {"chart": {"text": "| C |"}, "setting": {"range": {"low": "C3"}}}),
    ("wrong-type", "/chart", "paths", {"chart": 4}),
    ("wrong-type", "/setting", "paths", {"chart": {"text": "| C |"}, "setting": "left"}),
    ("wrong-type", "/setting/notes", "paths",
     {"chart": {"text": "| C |"}, "setting": {"notes": "4"}}),
    ("wrong-type", "/setting/notes", "paths",
     {"chart": {"text": "| C |"}, "setting": {"notes": 4.7}}),
    ("wrong-type", "/setting/notes", "paths",
     {"chart": {"text": "| C |"}, "setting": {"notes": True}}),
    ("wrong-type", "/setting/families/1", "voicings",
     {"symbol": "C7", "setting": {"families": ["close", None]}}),
    ("wrong-type", "/setting/waive/0", "voicings",
     {"symbol": "C7", "setting": {"waive": [None]}}),
    ("wrong-type", "/setting", "voicings", {"symbol": "C7", "setting": [None]}),
    ("out-of-range", "/setting/hands", "paths",
     {"chart": {"text": "| C |"}, "setting": {"hands": "feet"}}),
    ("out-of-range", "/setting/families/0", "paths",
     {"chart": {"text": "| C |"}, "setting": {"families": ["cluster"]}}),
    ("out-of-range", "/setting/tensions", "paths",
     {"chart": {"text": "| C |"}, "setting": {"tensions": "all"}}),
    ("out-of-range", "/setting/home", "paths",
     {"chart": {"text": "| C |"}, "setting": {"home": "H4"}}),
    ("wrong-type", "/loop", "paths", {"chart": {"text": "| C |"}, "loop": 1}),
    ("wrong-type", "/loop", "paths", {"chart": {"text": "| C |"}, "loop": "true"}),
    ("wrong-type", "/pins", "paths", {"chart": {"text": "| C |"}, "pins": {"step": 0}}),
    ("wrong-type", "/pins/0", "paths", {"chart": {"text": "| C |"}, "pins": [0]}),
    ("missing-field", "/pins/0/step", "paths",
     {"chart": {"text": "| C |"}, "pins": [{"form": "A"}]}),
    ("wrong-type", "/pins/0/step", "paths", {"chart": {"text": "| C |"}, "pins": [{"step": 0.5}]}),
    ("out-of-range", "/pins/0/step", "paths",
     {"chart": {"text": "C"}, "pins": [{"step": -1, "form": "A"}]}),
    ("out-of-range", "/pins/0/form", "paths",
     {"chart": {"text": "C"}, "pins": [{"step": 0, "form": "C"}]}),
    ("out-of-range", "/pins/0/midi_notes/1", "paths",
     {"chart": {"text": "| C |"}, "pins": [{"step": 0, "midi_notes": [60, 128]}]}),
    ("out-of-range", "/pins/0", "paths", {"chart": {"text": "| C |"}, "pins": [{"step": 0}]}),
    ("out-of-range", "/pins/0/top", "paths",
     {"chart": {"text": "| C |"}, "pins": [{"step": 0, "top": "X"}]}),
    ("pin-unplayable", "/pins/0/step", "paths",
     {"chart": {"text": "C"}, "pins": [{"step": 9, "form": "A"}]}),
    ("wrong-type", "/start_from/0", "paths", {"chart": {"text": "| C |"}, "start_from": ["60"]}),
    ("out-of-range", "/start_from", "paths", {"chart": {"text": "| C |"}, "start_from": [60] * 11}),
    ("missing-field", "/chart", "paths", {"chart": None}),
    ("missing-field", "/pins/0/step", "paths", {"chart": {"text": "C"}, "pins": [{"step": None}]}),
    ("wrong-type", "/pins/0", "paths", {"chart": {"text": "| C |"}, "pins": [None]}),
    ("missing-field", "/symbol", "voicings", {}),
    ("wrong-type", "/limit", "voicings", {"symbol": "C7", "limit": 4.5}),
    ("wrong-type", "/limit", "voicings", {"symbol": "C7", "limit": "4.0"}),
    ("out-of-range", "/limit", "voicings", {"symbol": "C7", "limit": 1e300}),
    ("wrong-type", "/symbol", "voicings", {"symbol": 7}),
    ("symbol-unreadable", "/symbol", "voicings", {"symbol": "Xm7"}),
    ("wrong-type", "/limit", "voicings", {"symbol": "C7", "limit": "4"}),
    ("wrong-type", "/limit", "voicings", {"symbol": "C7", "limit": True}),
    ("out-of-range", "/limit", "voicings", {"symbol": "C7", "limit": 0}),
    ("out-of-range", "/limit", "voicings", {"symbol": "C7", "limit": 1001}),
    ("out-of-range", "/limit", "voicings", {"symbol": "C7", "limit": 10**200}),
    ("out-of-range", "/offset", "voicings", {"symbol": "C7", "offset": -1}),
    ("wrong-type", "/after", "voicings", {"symbol": "C7", "after": 60}),
    ("wrong-type", "/after/0", "voicings", {"symbol": "C7", "after": [60.5]}),
    ("out-of-range", "/after/1", "voicings", {"symbol": "C7", "after": [60, -1]}),
    ("out-of-range", "/after", "voicings", {"symbol": "C7", "after": [60, 60]}),
    ("missing-field", "/symbols", "chords", {}),
    ("out-of-range", "/symbols", "chords", {"symbols": []}),
    ("missing-field", "/symbols", "chords", {"symbols": None}),
    ("wrong-type", "/symbols", "chords", {"symbols": "C7"}),
    ("wrong-type", "/symbols/1", "chords", {"symbols": ["C7", None]}),
    ("out-of-range", "/symbols", "chords", {"symbols": ["C"] * 1001}),
    ("wrong-type", "", "charts", 4),
    ("wrong-type", "", "charts", None),
    ("wrong-type", "", "charts", ["| C |"]),
]  # fmt: skip


@each_row("code, pointer, call, body", FIELDS)
def test_refuses_a_field(
    client: FlaskClient, code: str, pointer: str, call: str, body: Any
) -> None:
    response = client.post(f"/v1/{call}", data=json.dumps(body), content_type=JSON)
    said = response.get_json()
    assert (response.status_code, said["code"]) == (422, code)
    assert said["errors"][0]["pointer"] == pointer


@each_row("body", [body for _, _, call, body in FIELDS if call == "paths"])
def test_a_line_of_a_batch_is_refused_as_a_body_is(client: FlaskClient, body: Any) -> None:
    line = answer_line(json.dumps({"id": "a", **body}).encode(), 1)
    said = json.loads(line.replace(b" id,", b""))  # a field that a line may have as well
    assert said["problem"] == client.post("/v1/paths", json=body).get_json()


def test_names_the_fields_that_there_are(client: FlaskClient) -> None:
    """The guide of an app's developer is the answer itself."""
    for call in ("paths", "exercises"):
        said = client.post(f"/v1/{call}", json={"chart": {"text": "C"}, "ways": 1}).get_json()[
            "errors"
        ][0]
        first = "alternatives, " if call == "paths" else "chart, formula, "
        assert said["expected"].startswith(first)


# call, body with what is absent, the same without
ABSENT: list[tuple[str, Json, Json]] = [
    ("paths", {"chart": {"text": "| C |"}, "setting": None, "loop": None, "pins": None},
     {"chart": {"text": "| C |"}}),
    ("paths", {"chart": {"text": "| C |"}, "start_from": [], "pins": []},
     {"chart": {"text": "| C |"}}),
    ("paths", {"chart": {"text": "| C |"}, "setting": {"hands": None, "families": [], "waive": []}},
     {"chart": {"text": "| C |"}, "setting": {}}),
    ("paths", {"chart": {"text": "C"}, "setting": {"lowest": None, "prices": {"cluster": None}}},
     {"chart": {"text": "C"}}),
    ("paths",
     {"chart": {"text": "C7"}, "pins": [{"step": 0, "form": "A", "family": None,
      "midi_notes": []}]},
     {"chart": {"text": "C7"}, "pins": [{"step": 0, "form": "A"}]}),
    ("paths", {"chart": {"measures": [[{"symbol": "C", "beats": None}]], "order": [], "key": None}},
     {"chart": {"measures": [[{"symbol": "C"}]]}}),
    ("voicings", {"symbol": "C7", "limit": None, "after": [], "top": None, "context": None},
     {"symbol": "C7"}),
    ("voicings", {"symbol": "G7", "context": {"function": "dominant", "colours": [], "wants": []}},
     {"symbol": "G7", "context": {"function": "dominant"}}),
    ("charts", {"measures": [[{"symbol": "C"}]], "title": None, "keys": []},
     {"measures": [[{"symbol": "C"}]]}),
    ("reviews", {"chart": {"text": "| C |"}, "played": [None], "midi_file": None},
     {"chart": {"text": "| C |"}, "played": [[]]}),
    ("paths", {"chart": {"text": "| C |"}, "alternatives": 1.0, "setting": {"notes": 5.0}},
     {"chart": {"text": "| C |"}, "alternatives": 1, "setting": {"notes": 5}}),
    ("paths", {"chart": {"text": "C7"}, "pins": [{"step": 0.0, "form": "A"}]},
     {"chart": {"text": "C7"}, "pins": [{"step": 0, "form": "A"}]}),
    ("voicings", {"symbol": "C7", "limit": 4.0, "after": [72.0], "setting": {"reach_mm": 200}},
     {"symbol": "C7", "limit": 4, "after": [72], "setting": {"reach_mm": 200.0}}),
]  # fmt: skip


@each_row("call, body, plain", ABSENT)
def test_null_and_an_empty_list_are_absent_and_4_0_is_4(
    client: FlaskClient, call: str, body: Json, plain: Json
) -> None:
    """What null means is ours to say; that 4.0 is an integer is JSON Schema's (Validation 2020-12,
    section 6.1.1: any number with a zero fractional part)."""
    found, wanted = client.post(f"/v1/{call}", json=body), client.post(f"/v1/{call}", json=plain)
    assert (wanted.status_code, found.get_json()) == (200, wanted.get_json())
    if call == "paths":
        line = answer_line(json.dumps({"id": "a", **body}).encode(), 1)
        assert json.loads(line)["path"] == wanted.get_json()


def test_a_line_with_a_null_setting_has_the_batch_s(client: FlaskClient) -> None:
    line = b'{"id": "a", "chart": {"text": "| C |"}, "setting": null}'
    found = json.loads(answer_line(line, 1, {"hands": "left"}))
    assert found["path"]["setting"]["hands"] == "left"


def test_values_that_are_nested_deep_are_rejected_as_they_are(client: FlaskClient) -> None:
    body = b'{"chart": {"text": "C"}, "setting": ' + b"[" * 300 + b"]" * 300 + b"}"
    said = client.post("/v1/paths", data=body, content_type=JSON).get_json()
    assert said["code"] == "wrong-type"


def test_says_all_that_is_wrong_with_the_fields(client: FlaskClient) -> None:
    body = {"chart": {"text": "| C |"}, "loop": 0, "pins": [{"step": "0"}], "swing": True}
    said = client.post("/v1/paths", json=body).get_json()
    pointers = {fault["pointer"] for fault in said["errors"]}
    assert pointers == {"/loop", "/pins/0/step", "/swing"}
    assert "(and 2 more)" in said["detail"]


def test_tells_no_more_faults_than_anybody_reads(client: FlaskClient) -> None:
    body = {"chart": {"text": "| C |"}} | {f"f{number}": 1 for number in range(1_000)}
    response = client.post("/v1/paths", json=body)
    assert "(and 999 more)" in response.get_json()["detail"]
    assert len(response.get_json()["errors"]) == 100
    line = json.loads(answer_line(json.dumps({"id": "a", **body}).encode(), 1))
    assert len(line["problem"]["errors"]) == 100


QUERIES = [
    ("GET", "/v1/chords", "missing-field", "/symbol"),
    ("GET", "/v1/chords?symbl=C", "missing-field", "/symbol"),
    ("GET", "/v1/chords?symbol=C&key=Eb", "unknown-field", "/key"),
    ("GET", "/v1/chords?symbol=C&symbol=F", "out-of-range", "/symbol"),
    ("GET", "/v1/chords?symbol=C+7", "symbol-unreadable", "/symbol"),
    ("GET", "/v1/chords?symbol=%FF", "symbol-unreadable", "/symbol"),
    ("GET", "/v1/chords?symbol=", "symbol-unreadable", "/symbol"),
    ("GET", "/v1/families?hands=left", "unknown-field", "/hands"),
    ("GET", "/healthz?x", "unknown-field", "/x"),
    ("GET", "/openapi.json?format=yaml", "unknown-field", "/format"),
    ("POST", "/v1/paths?loop=true", "unknown-field", "/loop"),
    ("POST", "/v1/charts?a=1", "unknown-field", "/a"),
]


@each_row("method, path, code, pointer", QUERIES)
def test_refuses_a_query(
    client: FlaskClient, method: str, path: str, code: str, pointer: str
) -> None:
    response = client.open(
        path, method=method, json={"chart": {"text": "C"}} if method == "POST" else None
    )
    said = response.get_json()
    assert (response.status_code, said["code"]) == (422, code)
    assert said["errors"][0]["pointer"] == pointer


def test_bare_plus_in_an_address_is_hinted_at(client: FlaskClient) -> None:
    fault = client.get("/v1/chords?symbol=C+7").get_json()["errors"][0]
    assert fault["position"] == 1
    assert "%2B" in fault["expected"]
    assert client.get("/v1/chords?symbol=C%2B7").get_json()["tones"][2]["degree"] == "#5"


def test_hint_is_not_given_for_a_blank_that_was_meant(client: FlaskClient) -> None:
    assert "%2B" not in client.get("/v1/chords?symbol=C%20x").get_data(as_text=True)
