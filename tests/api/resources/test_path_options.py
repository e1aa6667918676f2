"""What a path request asks of its answer: kept notes, choices, brief steps, places in the text."""

from __future__ import annotations

import json
from typing import Any

import pytest
from flask.testing import FlaskClient

from support.tables import each_row

#: 32 measures, two chords in some.
FORM = "| Dm7 | G7 | Cmaj7 | A7 | Dm7 G7 | Em7 A7 | Fmaj7 | Bb7 |" * 4
BRIEF = {"symbol", "measure", "beat", "beats", "onset", "midi_notes"}


def post(client: FlaskClient, call: str, **body: Any) -> Any:
    """The answer of a call."""
    response = client.post(f"/v1/{call}", json=body)
    assert response.status_code == 200, response.get_json()
    return response.get_json()


def test_a_brief_answer_of_32_measures_is_small(client: FlaskClient) -> None:
    full = post(client, "paths", chart={"text": FORM}, alternatives=1)
    answer = client.post("/v1/paths", json={"chart": {"text": FORM}, "level": "brief"})
    assert len(answer.data) < 5_000 < len(json.dumps(full["steps"]))
    brief = answer.get_json()
    assert all(set(step) == BRIEF for step in brief["steps"])
    assert brief["steps"] == [{k: s[k] for k in BRIEF} for s in full["steps"]]
    assert {k: brief[k] for k in ("cost", "motion", "setting")} == {
        k: full[k] for k in ("cost", "motion", "setting")
    }
    other = post(client, "paths", chart={"text": FORM}, alternatives=1, level="brief")[
        "alternatives"
    ][0]
    assert all(set(step) == BRIEF for step in other["steps"])


def test_a_batch_may_be_brief(client: FlaskClient) -> None:
    line = json.dumps({"id": "a", "chart": {"text": "| Dm7 | G7 |"}, "level": "brief"})
    answer = client.post("/v1/batches", data=line, content_type="application/jsonl")
    assert [set(step) for step in json.loads(answer.data)["path"]["steps"]] == [BRIEF, BRIEF]


def test_kept_notes_and_choices(client: FlaskClient) -> None:
    before = post(client, "paths", chart={"text": "| Dm7 | G7 | Cmaj7 |"})
    keep = [{"step": s["step"], "midi_notes": s["midi_notes"]} for s in before["steps"]]
    after = post(
        client, "paths", chart={"text": "| Dm7 | Db7 | Cmaj7 |"}, keep=keep, choices_at=1, limit=3
    )
    assert after["released"] == [1]
    assert [s["midi_notes"] for s in after["steps"]][::2] == [k["midi_notes"] for k in keep][::2]
    first, *_ = choices = after["choices"]
    assert len(choices) == 3
    assert first == {
        "voicing": after["steps"][1]["voicing"], "cost": after["cost"], "motion": after["motion"],
    }  # fmt: skip
    assert before["released"] == before["choices"] == []


STEPS: list[tuple[str, list[tuple[Any, ...]]]] = [
    (
        "title: Roof\r\n|: Dm7 G7 | % :|\n| N.C. / / C(add 9) |",
        [
            # step, measure, repetition, beat, onset, line, column, length
            (0, 1, 1, 1, 0, 2, 4, 3), (1, 1, 1, 3, 2, 2, 8, 2),
            (2, 2, 1, 1, 4, 2, 13, 1), (3, 2, 1, 3, 6, 2, 13, 1),
            (4, 1, 2, 1, 8, 2, 4, 3), (5, 1, 2, 3, 10, 2, 8, 2),
            (6, 2, 2, 1, 12, 2, 13, 1), (7, 2, 2, 3, 14, 2, 13, 1),
            (8, 3, 1, 1, 16, 3, 3, 4), (9, 3, 1, 4, 19, 3, 12, 8),
        ],
    ),
    ("meter: 6/8\n\n| Dm7 |\r| / G♭7 / / / / |", [
        (0, 1, 1, 1, 0, 3, 3, 3), (1, 2, 1, 1, 3, 4, 3, 1), (2, 2, 1, 2, 3.5, 4, 5, 3),
    ]),
]  # fmt: skip


@each_row("text, expected", STEPS)
def test_steps_say_when_and_where_in_the_text(
    client: FlaskClient, text: str, expected: list[tuple[Any, ...]]
) -> None:
    names = ("step", "measure", "repetition", "beat", "onset", "line", "column", "length")
    read = client.post("/v1/charts", data=text.encode(), content_type="text/plain; charset=utf-8")
    for steps in (read.get_json()["steps"], post(client, "paths", chart={"text": text})["steps"]):
        assert [tuple(step[name] for name in names) for step in steps] == expected
        lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        for step in steps:
            start = step["column"] - 1
            written = lines[step["line"] - 1][start : start + step["length"]]
            assert written in (step["symbol"], "%", "/")


def test_other_charts_have_no_place(client: FlaskClient) -> None:
    measures = [[{"symbol": "C7", "beats": 1}], [{"symbol": "F7"}], [{"symbol": "C7"}]]
    chart = {
        "measures": measures,
        "meters": [{"measure": 3, "meter": "3/2"}],
        "order": [1, 2, 3, 2],
    }
    steps = post(client, "paths", chart=chart)["steps"]
    assert {(s["line"], s["column"], s["length"]) for s in steps} == {(None, None, None)}
    assert [(s["onset"], s["repetition"], s["meter"]) for s in steps] == [
        (0, 1, "4/4"), (1, 1, "4/4"), (5, 1, "3/2"), (11, 2, "4/4"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("body", "code", "pointer"),
    [
        ({"keep": [{"step": 0}]}, "missing-field", "/keep/0/midi_notes"),
        ({"keep": [{"step": 0, "midi_notes": []}]}, "out-of-range", "/keep/0/midi_notes"),
        ({"choices_at": 2}, "out-of-range", "/choices_at"),
        ({"limit": 1_001}, "out-of-range", "/limit"),
        ({"level": "short"}, "out-of-range", "/level"),
    ],
)
def test_what_cannot_be_asked(
    client: FlaskClient, body: dict[str, Any], code: str, pointer: str
) -> None:
    problem = client.post("/v1/paths", json={"chart": {"text": "| Dm7 | G7 |"}, **body}).get_json()
    assert (problem["code"], problem["errors"][0]["pointer"]) == (code, pointer)
