"""Nothing that a release promised over HTTP is broken within a version of the API."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from typing import Any

import pytest

from release.compatibility import OPENAPI, RELEASED, Comparison, promised
from support.tables import each_row

Json = dict[str, Any]


@pytest.fixture(scope="module")
def released() -> Json:
    found: Json = json.loads(RELEASED.read_text())
    return found


@pytest.fixture(scope="module")
def now() -> Json:
    return promised(json.loads((OPENAPI / "openapi.json").read_text()))


def test_the_document_keeps_what_was_released(released: Json, now: Json) -> None:
    if now["version"] == released["version"]:
        assert Comparison(released, now).complaints() == []


# --- the comparison itself ------------------------------------------------------------------------


def fields(document: Json, name: str) -> Json:
    found: Json = document["components"]["schemas"][name]["properties"]
    return found


def call(document: Json, path: str) -> Json:
    found: Json = next(iter(document["paths"][path].values()))
    return found


BREACHES: list[tuple[str, Callable[[Json], object]]] = [
    ("GET /v1/families: gone", lambda d: d["paths"].pop("/v1/families")),
    ("/v1/paths 200: gone", lambda d: call(d, "/v1/paths")["responses"].pop("200")),
    ("application/jsonl is gone", lambda d: call(d, "/v1/batches")["requestBody"]["content"].pop(
        "application/jsonl")),
    ("/size/steps: gone", lambda d: fields(d, "SearchSize").pop("steps")),
    ("/size/steps: of another type", lambda d: fields(d, "SearchSize")["steps"].update(
        type=["integer", "null"])),
    ("optimal may be missing now", lambda d: d["components"]["schemas"]["VoicingPath"][
        "required"].remove("optimal")),
    ("body application/json/loop: gone", lambda d: fields(d, "PathRequest").pop("loop")),
    ("loop needed now", lambda d: d["components"]["schemas"]["PathRequest"]["required"].append(
        "loop")),
    ("a lower maximum", lambda d: fields(d, "PathRequest")["alternatives"].update(maximum=49)),
    ("another default", lambda d: fields(d, "PathRequest")["loop"].update(default=True)),
    ("a word is no longer taken", lambda d: d["components"]["schemas"]["Hands"][
        "enum"].remove("right")),
    ("another pattern", lambda d: fields(d, "VoicingsRequest")["symbol"].update(pattern="^[A-G]")),
    ("/*: no longer of any type", lambda d: fields(d, "PathRequest")["start_from"]["items"].update(
        type="string")),
    ("the header ETag is gone", lambda d: call(d, "/v1/rhythms")["responses"]["200"][
        "headers"].pop("ETag")),
    ("the parameter query symbol is gone", lambda d: d["paths"]["/v1/chords"]["get"].pop(
        "parameters")),
    ("/mxl: gone", lambda d: fields(d, "ChartInput").pop("mxl")),
]  # fmt: skip


@each_row("said, harm", BREACHES)
def test_a_breach_is_told(now: Json, said: str, harm: Callable[[Json], object]) -> None:
    after = copy.deepcopy(now)
    harm(after)
    assert any(said in each for each in Comparison(now, after).complaints())


ADDITIONS: list[Callable[[Json], object]] = [
    lambda d: d["paths"].update({"/v1/more": {}}),
    lambda d: fields(d, "SearchSize").update(more={"type": "integer"}),
    lambda d: fields(d, "PathRequest").update(more={"type": "integer"}),
    lambda d: fields(d, "PathRequest")["alternatives"].update(maximum=51),
    lambda d: d["components"]["schemas"]["Hands"]["enum"].append("feet"),
    lambda d: fields(d, "VoicingsRequest")["offset"].update(type="number"),
]


@pytest.mark.parametrize("addition", ADDITIONS)
def test_an_addition_is_none(now: Json, addition: Callable[[Json], object]) -> None:
    after = copy.deepcopy(now)
    addition(after)
    assert Comparison(now, after).complaints() == []
