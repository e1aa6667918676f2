"""Use cases: HTTP, a batch and the command line give what the use case gives, byte for byte."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from click.testing import CliRunner
from flask.testing import FlaskClient

from shortway.cli import main
from shortway.services.solve_path import solve_path
from shortway.wire.schemas.paths import PathRequestSchema
from shortway.wire.serializers.paths import path_json
from shortway.wire.validation import validated
from support.tables import each_row

REQUESTS: list[dict[str, Any]] = [
    {"chart": {"text": "| Dm7 | G7 | Cmaj7 | % |"}},
    {"chart": {"text": "| Dm7 | G7 | Cmaj7 | % |"}, "loop": True},
    {"chart": {"text": "| Am7b5 | D7b9 | Gm6 |"}, "setting": {"hands": "left"}},
    {
        "chart": {"text": "| Bb6 G7 | Cm7 F7 |"},
        "setting": {"bass_player": False},
        "alternatives": 2,
    },
    {"chart": {"measures": [[{"symbol": "Fm7", "beats": 4}], [{"symbol": "Bb7", "beats": 4}]]}},
]


def solved(request: dict[str, Any]) -> Any:
    """The answer of the use case, as the wire has it."""
    return json.loads(json.dumps(path_json(solve_path(validated(PathRequestSchema(), request)))))


@each_row("request_", REQUESTS)
def test_http_gives_the_use_cases_answer(client: FlaskClient, request_: dict[str, Any]) -> None:
    assert client.post("/v1/paths", json=request_).get_json() == solved(request_)


def test_a_batch_over_http_gives_the_use_cases_answers(client: FlaskClient) -> None:
    lines = [{"id": f"line-{k}", **request} for k, request in enumerate(REQUESTS)]
    body = "".join(json.dumps(line) + "\n" for line in lines)
    response = client.post("/v1/batches", data=body, content_type="application/x-ndjson")
    answers = [json.loads(line) for line in response.text.splitlines()]
    assert [answer["id"] for answer in answers] == [line["id"] for line in lines]
    assert [answer["path"] for answer in answers] == [solved(request) for request in REQUESTS]


def test_the_command_gives_the_use_cases_answer(tmp_path: Path) -> None:
    chart = tmp_path / "chart.txt"
    chart.write_text(REQUESTS[0]["chart"]["text"])
    done = CliRunner().invoke(main, ["solve", str(chart), "--json"])
    assert done.exit_code == 0, done.output
    assert json.loads(done.output) == solved(REQUESTS[0])
