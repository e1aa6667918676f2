"""The manual: pages are served, links lead somewhere, what repeats the code is as the code says.

Markdown anchors are those of code hosts, so that links work in the repository, too.
"""

from __future__ import annotations

import json
import logging
import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from flask.testing import FlaskClient

from docs import blocks as doc_blocks
from docs import tables as doc_tables
from shortway.api.http.pages import POLICY
from shortway.api.telemetry import logs
from shortway.docs import rendering
from shortway.docs.reference import REFERENCE
from shortway.docs.site import INDEX, Site
from shortway.wire.problems import PROBLEMS
from shortway_client import Client
from support.tables import each_row

DOCUMENT = json.loads((doc_blocks.ROOT / "openapi/openapi.json").read_text("utf-8"))
SITE = Site(DOCUMENT)
ADDRESSES = SITE.addresses()
PAGES = [address for address in ADDRESSES if "." not in address]
DECISIONS = sorted(path.name for path in (doc_blocks.MANUAL / "decisions").glob("[0-9]*.md"))


@pytest.fixture
def client() -> FlaskClient:
    return doc_blocks.app().test_client()


@cache
def served(address: str) -> str:
    """A page that is there."""
    said = doc_blocks.app().test_client().get(address)
    assert said.status_code == 200, address
    return said.get_data(as_text=True)


@each_row("address", ADDRESSES)
def test_a_page_is_served_under_the_pages_policy(client: FlaskClient, address: str) -> None:
    said = client.get(address)
    assert said.status_code == 200
    assert said.mimetype == SITE.content(address)[1]
    assert said.headers["Content-Security-Policy"] == POLICY
    assert client.get(f"{address}/").data == said.data


@each_row("address", PAGES)
def test_a_page_has_one_first_heading_and_loads_nothing_from_elsewhere(address: str) -> None:
    text = served(address)
    assert len(re.findall("<h1", text)) == 1
    assert not re.search(r"<script(?![^>]* src=)|<style| style=|<[^>]* on\w+=|<!-- ", text)
    assert not re.search(r'(?: src|<link[^>]*href)="(?!/)', text)


@each_row("address", PAGES)
def test_headings_and_fields_have_anchors_of_their_own(address: str) -> None:
    anchors = re.findall(r' id="([^"]*)"', served(address))
    assert len(anchors) == len(set(anchors))


@each_row("address", PAGES)
def test_links_lead_to_pages_and_anchors_that_are_there(address: str) -> None:
    for link in set(re.findall(r' (?:href|src)="([^"]+)"', served(address))):
        parts = urlsplit(link)
        if parts.netloc:
            assert link == "http://127.0.0.1:8000/", "no page links to another host"
            continue
        target = served(parts.path or address)
        if parts.fragment:
            assert f' id="{parts.fragment}"' in target, link


def test_what_the_search_finds_is_there_and_holds_every_page_and_call() -> None:
    found = json.loads(served(INDEX))
    for address, _, anchor in (entry["at"].partition("#") for entry in found):
        assert not anchor or f' id="{anchor}"' in served(address)
    assert {entry["at"].partition("#")[0] for entry in found} == set(PAGES) - {REFERENCE}


@each_row("path, item", DOCUMENT["paths"].items())
def test_the_reference_shows_every_field_of_every_call(path: str, item: dict[str, Any]) -> None:
    """Names of the fields of the request and of the parameters, read from the document here."""
    for method, call in item.items():
        text = served(f"{REFERENCE}/{call['operationId']}")
        assert f"{method.upper()} {path}" in text
        body = call.get("requestBody", {}).get("content", {}).get("application/json", {})
        names = _names_below(body.get("schema", {}))
        for name in {*names, *(one["name"] for one in call.get("parameters", ()))}:
            assert f"<code>{name}</code>" in text, name


def _names_below(schema: dict[str, Any]) -> set[str]:
    if "$ref" in schema:
        schema = DOCUMENT["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    found = set(schema.get("properties", {}))
    return found.union(
        *(_names_below(inner) for inner in schema.get("properties", {}).values()),
        _names_below(schema["items"]) if "items" in schema else (),
    )


def test_every_page_is_reached_from_the_first() -> None:
    seen, rest = set(), [rendering.ROOT]
    while rest:
        address = rest.pop()
        if address not in seen and address in PAGES:
            seen.add(address)
            main = served(address).partition("<main")[2]
            rest += re.findall(r'href="([^"#]+)', main)
    assert seen == set(PAGES)


def test_methods_of_the_client_that_pages_name_are_there() -> None:
    texts = [file.read_text("utf-8") for file in doc_blocks.FILES]
    named = {name for text in texts for name in re.findall(r"\bClient\.(\w+)", text)}
    assert "find_path" in named
    assert [name for name in named if not hasattr(Client, name)] == []


@each_row("address", ["/docs/none", "/docs/charts.md", "/docs/../app.py", "/docs/__init__.py"])
def test_what_is_no_page_is_a_problem(client: FlaskClient, address: str) -> None:
    assert client.get(address).status_code == 404


@each_row("file", doc_blocks.FILES)
def test_what_is_generated_is_what_the_code_says(file: Path) -> None:
    assert doc_tables.written(file) == file.read_text("utf-8"), "run python tests/docs/write.py"


def test_each_error_has_a_page_with_an_example_and_a_cure() -> None:
    pages = {path.stem: path for path in (doc_blocks.MANUAL / "errors").glob("*.md")}
    assert set(pages) - {"index"} == set(PROBLEMS)
    for code in PROBLEMS:
        text = pages[code].read_text("utf-8")
        assert text.startswith(f"# `{code}`\n")
        assert f'"code": "{code}"' in text.partition("## Example")[2].partition("## Cure")[0]
        assert re.search(r"## Cure\n\n- ", text)


def test_decisions_are_numbered_one_by_one_and_have_three_paragraphs() -> None:
    assert [name[:4] for name in DECISIONS] == [f"{n:04}" for n in range(1, len(DECISIONS) + 1)]
    for name in DECISIONS:
        text = (doc_blocks.MANUAL / "decisions" / name).read_text("utf-8")
        assert re.findall(r"^\*\*(\w+)\.\*\* ", text, re.M) == [
            "Context",
            "Decision",
            "Consequence",
        ]


def test_operations_lists_the_fields_of_a_log_line(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    logged: dict[str, Any] = {}
    monkeypatch.setattr(logs, "_least", logging.INFO)
    monkeypatch.setattr(logs, "_line", lambda _, fields: logged.update(fields) or b"")
    client.get("/v1/chords?symbol=C7").close()
    page = (doc_blocks.MANUAL / "operations.md").read_text("utf-8")
    table = page.partition("## Logs")[2].partition("\n## ")[0]
    assert logged
    assert set(logged) - {"event"} <= set(re.findall(r"`(\w+)`", table))


def test_developers_names_files_that_are_there() -> None:
    text = (doc_blocks.ROOT / "DEVELOPERS.md").read_text("utf-8")
    paths = re.findall(r"`((?:[\w-]+/)+[\w.-]*|\w+\.py)`", text)
    assert len(paths) > 30
    for path in paths:
        assert any(
            (root / path).exists() for root in (doc_blocks.ROOT, doc_blocks.MANUAL.parent)
        ), path


def test_package_data_names_every_page_picture_and_file() -> None:
    """Else a wheel leaves it out: setuptools takes what the patterns match, below the package."""
    settings = tomllib.loads((doc_blocks.ROOT / "pyproject.toml").read_text("utf-8"))
    patterns = settings["tool"]["setuptools"]["package-data"]["shortway"]
    package = doc_blocks.MANUAL.parent
    taken = {path for pattern in patterns for path in package.glob(pattern)}
    ends = (".md", ".svg", ".html", ".css", ".js")
    assert {path for path in doc_blocks.MANUAL.rglob("*.*") if path.suffix in ends} <= taken


@each_row("name, most", [("README.md", 1_500), ("DEVELOPERS.md", 2_000)])
def test_the_first_pages_are_short(name: str, most: int) -> None:
    assert len((doc_blocks.ROOT / name).read_text("utf-8").split()) <= most
