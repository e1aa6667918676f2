"""Real answers against the document, and the committed examples against the service."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
import requests
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from shortway.api.openapi.examples import EXAMPLES
from shortway.api.resources.batches import JSON_LINES
from support.tables import each_row

EXAMPLES_FOLDER = Path(__file__).parents[3] / "openapi" / "examples"
Json = dict[str, Any]


@pytest.fixture(scope="session")
def closed(document: Json) -> Json:
    """The document with every object closed, so that a field it does not name is seen."""
    found = copy.deepcopy(document)
    for name, schema in found["components"]["schemas"].items():
        if "properties" in schema and name != "OpenApiDocument":
            schema["additionalProperties"] = False
    return found


def check(closed: Json, schema: Json, value: Any) -> None:
    whole = {**schema, "components": closed["components"]}
    errors = sorted(Draft202012Validator(whole).iter_errors(value), key=str)
    assert errors == [], [f"{e.json_path}: {e.message[:200]}" for e in errors[:3]]


def schema_of(document: Json, path: str, method: str, status: int) -> Json:
    responses = document["paths"][path][method.lower()]["responses"]
    response = responses.get(str(status), responses["default"])
    if "$ref" in response:
        response = document["components"]["responses"][response["$ref"].rpartition("/")[2]]
    found: Json = next(iter(response["content"].values())).get("schema", {})
    return found


def ref(name: str) -> Json:
    return {"$ref": f"#/components/schemas/{name}"}


# --- answers ----------------------------------------------------------------------------------

CALLS: list[tuple[str, str, Any]] = [
    ("GET", "/v1/chords?symbol=Abm7b5/Gb", None),
    ("GET", "/v1/chords?symbol=N.C.", None),
    ("GET", "/v1/chords?symbol=G7%23%23", None),
    ("GET", "/v1/chords", None),
    ("POST", "/v1/chords", {"symbols": ["C7alt", "Y", "Ebmaj9", "F/A", "N.C."]}),
    ("POST", "/v1/chords", {"symbols": 4}),
    ("GET", "/v1/families", None),
    ("POST", "/v1/voicings", {"symbol": "Bb7"}),
    ("POST", "/v1/voicings", {"symbol": "N.C."}),
    ("POST", "/v1/voicings", {"symbol": "F/A", "setting": {"bass_player": False}}),
    ("POST", "/v1/voicings", {"symbol": "Bb7", "setting": {"hands": "left"}, "after": [56, 60]}),
    ("POST", "/v1/voicings", {"symbol": "Bb7", "setting": {"notes_vary": True, "reach_mm": 200.5}}),
    ("POST", "/v1/voicings", {"symbol": "Bb7", "setting": {"reach": "none"}}),
    ("POST", "/v1/charts", "key: Gm\ntitle: Cloakroom\n|: Gm6 | N.C. :| C / F / |"),
    ("POST", "/v1/charts", {"measures": [[{"symbol": "C"}, {"symbol": "F"}, {"symbol": "G"}]]}),
    ("POST", "/v1/charts", ""),
    ("POST", "/v1/paths", {"chart": {"text": "| Fm7 | Bb7 | N.C. | Ebmaj7 |"}}),
    ("POST", "/v1/paths", {"chart": {"text": "| N.C. |"}}),
    ("POST", "/v1/paths",
     {"chart": {"text": "| Fm7 | Bb7 |"}, "loop": True, "start_from": [56, 60, 63]}),
    ("POST", "/v1/paths", {"chart": {"text": "| Fm7 | Bb7 |"}, "setting": {"bass_player": False}}),
    ("POST", "/v1/paths", {"chart": {"text": "| Fm7 | Bb7 |"}, "setting": {"notes_vary": True}}),
    ("POST", "/v1/paths", {"chart": {"text": "| Fm7 |"}, "setting": {"lowest": "C8",
                                                                    "highest": "D8"}}),
    ("GET", "/healthz", None),
    ("GET", "/readyz", None),
    ("GET", "/openapi.json", None),
]  # fmt: skip


@each_row("method, path, body", CALLS)
def test_answer_is_as_documented(
    client: FlaskClient, closed: Json, method: str, path: str, body: Any
) -> None:
    sent = {"json": body} if method == "POST" else {}
    response = client.open(path, method=method, **sent)
    assert response.status_code in (200, 422), response.get_data(as_text=True)[:300]
    rule = path.partition("?")[0]
    check(closed, schema_of(closed, rule, method, response.status_code), response.get_json())


@pytest.mark.parametrize(
    ("method", "path"), [("GET", "/nothing"), ("PUT", "/v1/paths"), ("POST", "/v1/paths")]
)
def test_any_problem_is_as_documented(
    client: FlaskClient, closed: Json, method: str, path: str
) -> None:
    check(closed, ref("Problem"), client.open(path, method=method).get_json())


def test_schemas_would_see_a_fault(client: FlaskClient, closed: Json) -> None:
    said = client.get("/v1/chords?symbol=C7").get_json()
    for harm in ({"extra": 1}, {"root": 4}, {"tones": [{"degree": "1"}]}):
        with pytest.raises(AssertionError):
            check(closed, ref("Chord"), said | harm)


def test_resolved_setting_is_a_setting(client: FlaskClient, closed: Json) -> None:
    for setting in ({}, {"hands": "left"}, {"bass_player": False}, {"reach_mm": 210}):
        said = client.post("/v1/voicings", json={"symbol": "C7", "setting": setting}).get_json()
        check(closed, ref("Setting"), said["setting"])
        check(closed, ref("ResolvedSetting"), said["setting"])


REFUSED_BY_BOTH = [
    {"hands": "feet"}, {"notes": "4"}, {"notes": 0}, {"notes": 11}, {"split_cost": -1},
    {"tensions": "all"}, {"families": ["cluster"]}, {"reach": "twelfth"}, {"swing": 1},
    {"low": "C3"}, {"bass_player": 1}, {"waive": ["gravity"]}, {"home": 60},
]  # fmt: skip


@each_row("setting", REFUSED_BY_BOTH)
def test_document_and_service_refuse_the_same_settings(
    client: FlaskClient, closed: Json, setting: Json
) -> None:
    whole = {**ref("Setting"), "components": closed["components"]}
    assert not Draft202012Validator(whole).is_valid(setting)
    response = client.post("/v1/voicings", json={"symbol": "C7", "setting": setting})
    assert response.status_code == 422


# --- the committed examples -------------------------------------------------------------------


def example_files() -> list[Path]:
    return sorted(EXAMPLES_FOLDER.glob("*.json"))


def test_every_example_is_committed() -> None:
    assert {path.stem for path in example_files()} == {e.name for e in EXAMPLES}


@each_row(
    "path",
    example_files(),
)
def test_example_is_replayed(url: str, path: Path) -> None:
    """By the running service."""
    recorded = json.loads(path.read_text())
    request, want = recorded["request"], recorded["response"]
    headers = {"Accept": request.get("accept", "*/*")}
    data = None
    if "body" in request:
        headers["Content-Type"] = request["type"]
        is_json = request["type"] == "application/json"
        data = (json.dumps(request["body"]) if is_json else request["body"]).encode()
    response = requests.request(
        request["method"], url + request["path"], headers=headers, data=data, timeout=30
    )
    kind = response.headers["Content-Type"].partition(";")[0]
    assert (response.status_code, kind) == (want["status"], want["type"])
    is_text = kind in JSON_LINES or kind.endswith("xml")
    if installed := next(of.installed for of in EXAMPLES if of.name == path.stem):
        assert response.json() | installed == want["body"]
        return
    assert (response.content.decode() if is_text else response.json()) == want["body"]


@each_row(
    "path",
    example_files(),
)
def test_example_is_as_documented(closed: Json, path: Path) -> None:
    recorded = json.loads(path.read_text())
    request, want = recorded["request"], recorded["response"]
    rule = request["path"].partition("?")[0]
    check(closed, schema_of(closed, rule, request["method"], want["status"]), want["body"])


@pytest.mark.parametrize("name", ["batch", "batch-ndjson"])
def test_every_line_of_an_example_is_as_documented(closed: Json, name: str) -> None:
    recorded = json.loads((EXAMPLES_FOLDER / f"{name}.json").read_text())
    operation = closed["paths"]["/v1/batches"]["post"]
    given, told = recorded["request"], recorded["response"]
    for media, body in (
        (operation["requestBody"]["content"][given["type"]], given["body"]),
        (operation["responses"]["200"]["content"][told["type"]], told["body"]),
    ):
        for line in body.splitlines():
            check(closed, media["x-line-schema"], json.loads(line))


def test_examples_show_every_call_and_a_refusal_of_each_that_takes_a_body() -> None:
    shown = {(e.operation, e.method) for e in EXAMPLES}
    assert {name for name, _ in shown} == {
        "getChord", "readChords", "listFamilies", "listVoicings", "readChart", "findPath",
        "findPaths", "reviewPlaying", "writeExercise", "writeScore", "listPresets", "listRhythms",
        "listPrices", "writePerformance",
        "getHealth", "getReadiness",
    }  # fmt: skip
    recorded = [json.loads(path.read_text()) for path in example_files()]
    refused = {r["operation"] for r in recorded if r["response"]["status"] >= 400}
    assert refused >= {
        "getChord", "readChords", "listVoicings", "readChart", "findPath", "findPaths",
    }  # fmt: skip
