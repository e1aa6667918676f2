"""The pure half of the client: models to the wire and back."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import pytest

from shortway.scores.chart_files import formats
from shortway_client import (
    BadAnswer,
    Chart,
    ChartChord,
    Pin,
    Setting,
    _wire,
    models,
    to_json,
)
from shortway_client._codec import read_voicing_path

OPENAPI = Path(__file__).parents[2] / "openapi"
PATH = json.loads((OPENAPI / "examples" / "path.json").read_bytes())["response"]["body"]


def test_a_path_may_hold_paths() -> None:
    path = read_voicing_path(PATH | {"alternatives": [PATH]})
    assert path.alternatives[0].steps[0].symbol == PATH["steps"][0]["symbol"]
    assert path.setting.notes == PATH["setting"]["notes"]
    assert read_voicing_path(to_json(path)) == path


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"optimal": 1}, "expected true or false at /optimal"),
        ({"size": {}}, "lacks /size/steps"),
        ({"steps": {}}, "expected a list at /steps"),
        ({"steps": [{}]}, "lacks /steps/0/measure"),
        ({"setting": PATH["setting"] | {"notes": True}}, "at /setting/notes"),
        ({"size": {"steps": 1.0, "candidates": 1, "transitions": 0}}, "whole number at /size"),
    ],
)
def test_what_is_not_a_path(change: dict[str, object], message: str) -> None:
    with pytest.raises(BadAnswer, match=message):
        read_voicing_path(PATH | change)


@pytest.mark.parametrize("name", sorted(PATH))
def test_a_path_lacks_nothing(name: str) -> None:
    with pytest.raises(BadAnswer, match=f"lacks /{name}"):
        read_voicing_path({key: value for key, value in PATH.items() if key != name})


@pytest.mark.parametrize(
    "setting",
    [
        Setting(hands="left", families=("shell",), lowest="E3"),
        {"hands": "left", "families": ["shell"], "lowest": "E3"},
        '{"hands": "left", "families": ["shell"], "lowest": "E3"}',
    ],
)
def test_a_setting_may_be_a_model_a_dict_or_a_text(setting: models.SettingLike) -> None:
    request = _wire.post(
        "v1/voicings", {"symbol": "C7", "setting": setting, "after": None, "limit": 3}
    )
    assert request.body is not None
    assert json.loads(request.body) == {
        "symbol": "C7",
        "setting": {"hands": "left", "families": ["shell"], "lowest": "E3"},
        "limit": 3,
    }


@pytest.mark.parametrize(
    "chart",
    [
        Chart(((ChartChord("C♯7", 4),),)),
        {"meter": "4/4", "measures": [[{"symbol": "C♯7", "beats": 4}]]},
        ' {"meter": "4/4", "measures": [[{"symbol": "C♯7", "beats": 4}]]}',
    ],
)
def test_a_chart_may_be_a_model_a_dict_or_a_text(chart: models.ChartLike) -> None:
    pins = [Pin(0, top="G5"), {"step": 1, "form": "A"}]
    request = _wire.post("v1/paths", {"chart": chart, "setting": None, "loop": True, "pins": pins})
    assert request.body is not None
    assert json.loads(request.body) == {
        "chart": {"meter": "4/4", "measures": [[{"symbol": "C♯7", "beats": 4}]]},
        "loop": True,
        "pins": [{"step": 0, "top": "G5"}, {"step": 1, "form": "A"}],
    }


def test_a_text_chart_goes_as_an_object() -> None:
    request = _wire.post_chart("| E♭7 |")
    assert request.body == '{"text": "| E♭7 |"}'.encode()
    assert request.headers["Content-Type"] == "application/json"


def test_a_number_that_json_lacks_is_the_callers_own_error() -> None:
    with pytest.raises(ValueError, match="Out of range float"):
        _wire.post("v1/paths", {"chart": {"text": "| C |"}, "setting": {"reach_mm": float("nan")}})


def test_models_are_frozen_and_typed() -> None:
    kinds = [
        k for k in vars(models).values() if isinstance(k, type) and dataclasses.is_dataclass(k)
    ]
    assert len(kinds) > 20
    for kind in kinds:
        assert kind.__dataclass_params__.frozen, kind  # type: ignore[attr-defined]
        assert kind.__doc__, kind


def test_files_have_the_text_formats_of_the_service() -> None:
    theirs = {
        end: name
        for name, form in formats.TEXT_FORMATS.items()
        for end in form.suffixes
        if name != formats.DEFAULT_FORMAT
    }
    assert theirs == _wire.TEXT_FORMATS
