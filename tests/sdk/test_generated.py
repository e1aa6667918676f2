"""The generated files of the client are those that the OpenAPI document gives."""

from __future__ import annotations

import importlib.util
from pathlib import Path

from shortway.wire.problems import PROBLEMS
from shortway_client import problems
from shortway_client.errors import Problem, RateLimited, Refused, Unavailable

ROOT = Path(__file__).parents[2]


def test_generated_files_are_the_committed_ones() -> None:
    path = ROOT / "openapi" / "generate_client.py"
    spec = importlib.util.spec_from_file_location("generate_client", path)
    assert spec is not None
    assert spec.loader is not None
    generate_client = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(generate_client)
    for file, text in generate_client.files().items():
        assert file.read_text("utf-8") == text, "run: python openapi/generate_client.py"
        assert "do not edit" in text.splitlines()[0]


def test_each_code_has_a_class_that_its_status_gives() -> None:
    """RFC 9110, section 15: 4xx is the client's error; RFC 6585, section 4: 429."""
    special = {429: RateLimited, 503: Unavailable}
    assert problems.BY_CODE.keys() == PROBLEMS.keys()
    for code, (status, _) in PROBLEMS.items():
        base = special.get(status, Refused if status < 500 else Problem)
        assert issubclass(problems.BY_CODE[code], base), code
