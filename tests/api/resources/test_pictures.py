"""Pictures over HTTP: the same bytes as the core's path drawn directly, refusals with pointers."""

from __future__ import annotations

from typing import Any
from xml.etree import ElementTree as ET

import pytest
from flask.testing import FlaskClient

from shortway.core.solver.solve import solve
from shortway.scores.pictures.keyboards import draw_keyboards
from shortway.scores.pictures.voice_lines import draw_voice_lines
from support.pictures import unsafe

TYPE = "image/svg+xml"
CHART = "title: Late Checkout\n| Dm7 | G7 | Cmaj7 | % |"


def ask(client: FlaskClient, accept: str = TYPE, **body: Any) -> Any:
    return client.post(
        "/v1/scores", json={"chart": {"text": CHART}, **body}, headers={"Accept": accept}
    )


@pytest.mark.parametrize("picture", ["staff", "keyboards", "lines"])
@pytest.mark.parametrize("width", [None, 360, 1600])
def test_each_picture_is_drawn_as_wide_as_asked(
    client: FlaskClient, picture: str, width: int | None
) -> None:
    show = {"picture": picture} | ({"width": width} if width else {})
    answer = ask(client, show=show, loop=True)
    assert answer.status_code == 200
    assert answer.mimetype == TYPE
    assert 'filename="Late-Checkout.svg"' in answer.headers["Content-Disposition"]
    assert unsafe(answer.data) == []
    root = ET.fromstring(answer.data)
    assert float(root.get("width", 0)) == (width or 960)
    title = root.find("{http://www.w3.org/2000/svg}title")
    assert title is not None
    assert (title.text or "").startswith("Late Checkout: ")


def test_the_path_drawn_is_the_path_solved(client: FlaskClient) -> None:
    path = solve(CHART, {"hands": "left"})
    for picture, draw in (("keyboards", draw_keyboards), ("lines", draw_voice_lines)):
        answer = ask(client, setting={"hands": "left"}, show={"picture": picture})
        assert answer.data == draw(path, "Late Checkout")


def test_staff_is_the_default(client: FlaskClient) -> None:
    assert ask(client).data == ask(client, show={"picture": "staff"}).data
    assert b"grand staff" in ask(client).data


@pytest.mark.parametrize(
    ("show", "pointer", "code"),
    [
        ({"picture": "photograph"}, "/show/picture", "out-of-range"),
        ({"width": 100}, "/show/width", "out-of-range"),
        ({"width": "wide"}, "/show/width", "wrong-type"),
        ({"height": 100}, "/show/height", "unknown-field"),
    ],
)
def test_what_cannot_be_drawn_is_refused(
    client: FlaskClient, show: dict[str, Any], pointer: str, code: str
) -> None:
    answer = ask(client, show=show)
    assert answer.status_code == 422
    problem = answer.get_json(force=True)
    assert problem["code"] == code
    assert problem["errors"][0]["pointer"] == pointer
