"""A step's context as `POST /v1/voicings` takes it back: the step's candidates."""

from __future__ import annotations

from typing import Any

from flask.testing import FlaskClient

from support.tables import each_row


def posted(client: FlaskClient, call: str, body: dict[str, Any]) -> Any:
    return client.post(f"/v1/{call}", json=body).get_json()


@each_row("text", ["| Dm7b5 | G7 | Cm6 |", "| Dm7 | Gsus | Cmaj7 |", "| Dm7 | Db7 | Cmaj7 |"])
def test_a_paths_voicing_is_listed_under_its_steps_context(client: FlaskClient, text: str) -> None:
    steps = posted(client, "paths", {"chart": {"text": text}})["steps"]
    for step in steps:
        body = {"symbol": step["symbol"], "context": step["context"], "limit": 1000}
        listed = posted(client, "voicings", body)["voicings"]
        assert step["voicing"]["midi_notes"] in [voicing["midi_notes"] for voicing in listed]


def test_an_unknown_degree_or_function_is_refused(client: FlaskClient) -> None:
    for field, value, pointer in (
        ("wants", [["13", "14"]], "/context/wants/0/1"),
        ("colours", ["5"], "/context/colours/0"),
        ("function", "home", "/context/function"),
    ):
        context = {"colours": ["9"], field: value}
        said = posted(client, "voicings", {"symbol": "G7", "context": context})
        assert (said["status"], said["errors"][0]["pointer"]) == (422, pointer), said
