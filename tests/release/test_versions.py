"""Each version stands in several places and is the same in all of them.

The two distributions have one each; the HTTP API has its own, and the client speaks one of it.
"""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import pytest

import shortway
import shortway_client
from shortway.api.http.responses import API_VERSION
from shortway_client import _wire, client

ROOT = Path(__file__).parents[2]


def newest(changelog: str) -> str:
    """The first heading of a version."""
    found = re.search(r"^## (\S+)$", (ROOT / changelog).read_text(), re.MULTILINE)
    assert found
    return found[1]


@pytest.mark.parametrize(
    ("folder", "changelog", "version"),
    [
        (".", "service/CHANGELOG.md", shortway.__version__),
        ("sdk", "sdk/CHANGELOG.md", shortway_client.__version__),
    ],
)
def test_a_distribution_has_one_version(folder: str, changelog: str, version: str) -> None:
    declared = tomllib.loads((ROOT / folder / "pyproject.toml").read_text())["project"]["version"]
    assert declared == version == newest(changelog)


def test_the_client_says_its_version() -> None:
    assert f"shortway-client/{shortway_client.__version__}" == client.USER_AGENT


def test_the_api_has_one_version() -> None:
    document = json.loads((ROOT / "openapi" / "openapi.json").read_text())
    assert document["info"]["version"] == API_VERSION == newest("openapi/CHANGELOG.md")
    assert {path.split("/")[1] for path in document["paths"] if path.count("/") > 1} == {
        f"v{API_VERSION}"
    }


def test_the_client_speaks_the_service_s_version() -> None:
    assert _wire.API_VERSION == API_VERSION
    assert f"version {API_VERSION} of the HTTP API" in (ROOT / "sdk" / "CHANGELOG.md").read_text()
