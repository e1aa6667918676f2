"""The OpenAPI document: valid, complete, the one that is committed, and fit for generators."""

from __future__ import annotations

import json
import keyword
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator

from shortway.api.http.pages import MANUAL, PAGES
from shortway.api.openapi.openapi_document import build_document, pretty_json

OPENAPI = Path(__file__).parents[3] / "openapi"
Json = dict[str, Any]


def operations(document: Json) -> Iterator[tuple[str, str, Json]]:
    for path, item in document["paths"].items():
        for method, operation in item.items():
            yield path, method, operation


def fields(document: Json) -> Iterator[tuple[str, Json]]:
    for name, schema in document["components"]["schemas"].items():
        for field, described in schema.get("properties", {}).items():
            yield f"{name}.{field}", described


def every_schema(value: Any) -> Iterator[Json]:
    """All objects inside `value`, wherever they are."""
    if isinstance(value, dict):
        yield value
        for inner in value.values():
            yield from every_schema(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from every_schema(inner)


#: Media types whose bodies a JSON document cannot show, or not at a length to read.
NO_TEXT = (
    "application/vnd.recordare.musicxml", "application/pdf", "audio/midi", "image/svg+xml",
)  # fmt: skip


def test_document_is_openapi_3_1(document: Json) -> None:
    """Source: the official OpenAPI 3.1 schema, as openapi-spec-validator carries it."""
    OpenAPIV31SpecValidator(document).validate()
    assert re.fullmatch(r"3\.1\.\d+(-.+)?", document["openapi"])


def test_the_document_that_is_sent_is_the_one_that_the_code_makes(app: Flask) -> None:
    message = "run: python -m shortway.api --write openapi"
    made = pretty_json(build_document(app))
    assert (OPENAPI / "openapi.json").read_bytes() == made, message
    assert app.test_client().get("/openapi.json").data == made


def test_calls_of_the_contract_are_there(document: Json) -> None:
    calls = {(method.upper(), path) for path, method, _ in operations(document)}
    assert calls == {
        ("GET", "/v1/chords"),
        ("POST", "/v1/chords"),
        ("GET", "/v1/families"),
        ("POST", "/v1/voicings"),
        ("POST", "/v1/charts"),
        ("POST", "/v1/paths"),
        ("POST", "/v1/batches"),
        ("POST", "/v1/reviews"),
        ("POST", "/v1/exercises"),
        ("POST", "/v1/scores"),
        ("POST", "/v1/performances"),
        ("GET", "/v1/presets"),
        ("GET", "/v1/rhythms"),
        ("GET", "/v1/prices"),
        ("GET", "/healthz"),
        ("GET", "/readyz"),
        ("GET", "/openapi.json"),
    }


def test_every_route_is_in_the_document(app: Flask, document: Json) -> None:
    """All but the pages, which are for people, their files, and the metrics, for Prometheus."""
    manual = {MANUAL, MANUAL.rstrip("/"), f"{MANUAL}<path:name>"}
    others = {*PAGES, "/page/<path:name>", "/metrics", *manual}
    calls = {rule.rule for rule in app.url_map.iter_rules()} - others
    assert calls == set(document["paths"])


def test_every_operation_is_described_with_examples(document: Json) -> None:
    for path, method, operation in operations(document):
        where = f"{method} {path}"
        assert operation["summary"], where
        assert len(operation["description"]) > 20, where
        if path != "/openapi.json":
            for kind, media in operation["responses"]["200"]["content"].items():
                assert kind in NO_TEXT or media["examples"], where
        if "requestBody" in operation:
            assert operation["requestBody"]["description"], where
            for media in operation["requestBody"]["content"].values():
                is_bytes = media["schema"].get("format") == "binary"  # which JSON cannot show
                assert is_bytes or media["examples"], where


def test_every_field_has_a_description_and_an_example(document: Json) -> None:
    bare = [
        name
        for name, field in fields(document)
        if not field.get("description") or not field.get("examples")
    ]
    assert bare == []
    assert sum(1 for _ in fields(document)) > 80


def test_every_component_is_described_and_used(document: Json) -> None:
    text = json.dumps(document)
    for kind, found in document["components"].items():
        for name, component in found.items():
            assert component["description"], name
            used = f'"{name}": []' if kind == "securitySchemes" else f'"#/components/{kind}/{name}"'
            assert used in text, name


def test_examples_of_fields_are_valid(document: Json) -> None:
    for name, field in fields(document):
        schema = {**field, "components": document["components"]}
        for example in field["examples"]:
            errors = list(Draft202012Validator(schema).iter_errors(example))
            assert errors == [], f"{name}: {errors}"


def test_every_failure_is_a_problem(document: Json) -> None:
    for path, method, operation in operations(document):
        assert "default" in operation["responses"], path
        for status, response in operation["responses"].items():
            if status in ("200", "304"):
                continue
            component = response["$ref"].rpartition("/")[2]
            content = document["components"]["responses"][component]["content"]
            assert list(content) == ["application/problem+json"], f"{method} {path}"


def test_requests_refuse_fields_beyond_them(document: Json) -> None:
    schemas = document["components"]["schemas"]
    closed = {name for name, s in schemas.items() if s.get("additionalProperties") is False}
    assert closed == {
        "BatchLine", "ChartChordInput", "ChartInput", "ChordsRequest", "KeyChangeInput",
        "MeterChangeInput", "PathRequest", "Pin", "ReviewRequest", "MidiAlignment",
        "TempoChange", "ExerciseRequest", "ScoreRequest", "Setting",
        "RhythmHitInput", "SectionInput", "SectionRhythmInput", "ShowOptions",
        "VoicingsRequest", "Prices",
        "ChordContextInput", "KeptNotes",
    }  # fmt: skip


# --- what client generators stumble over ------------------------------------------------------


def test_operation_ids_make_method_names(document: Json) -> None:
    names = [operation["operationId"] for _, _, operation in operations(document)]
    assert len(set(names)) == len(names)
    for name in names:
        assert re.fullmatch(r"[a-z]+([A-Z][a-z]+)+", name)
        assert not keyword.iskeyword(name)


def test_component_names_differ_whatever_the_case(document: Json) -> None:
    names = list(document["components"]["schemas"])
    assert len({name.lower() for name in names}) == len(names)
    assert all(re.fullmatch(r"[A-Z][A-Za-z]+", name) for name in names)


def test_no_list_has_the_name_of_its_component(document: Json) -> None:
    """openapi-python-client gives both the same variable."""
    for name, field in fields(document):
        component, _, inner = name.partition(".")
        assert field.get("type") != "array" or component.lower() != inner


def test_no_schema_is_nameless_or_open(document: Json) -> None:
    """An object inside a field is always a component; only the two maps say what they hold."""
    for name, field in fields(document):
        assert "properties" not in field, name
        assert set(field) & {"type", "$ref", "oneOf", "anyOf"}, name


def test_no_inline_objects_inside_lists(document: Json) -> None:
    for schema in every_schema(document["components"]["schemas"]):
        items = schema.get("items")
        assert not (isinstance(items, dict) and "properties" in items)


@pytest.mark.parametrize("word", ["discriminator", "allOf", "nullable", "not", "patternProperties"])
def test_no_keyword_that_generators_read_differently(document: Json, word: str) -> None:
    assert all(word not in schema for schema in every_schema(document["components"]["schemas"]))


def test_every_schema_is_one_plain_object_or_an_enumeration(document: Json) -> None:
    """What client generators stumble over: choices, and defaults that are no scalars."""
    for name, schema in document["components"]["schemas"].items():
        kind = "enum" if "enum" in schema else "properties"
        assert kind in schema, name
        assert schema["type"] == ("string" if kind == "enum" else "object"), name
    for name, field in fields(document):
        for part in (field, field.get("items", {})):
            assert not {"oneOf", "allOf"} & set(part), name
            assert not isinstance(part.get("default"), list | dict), name
            others = [each for each in part.get("anyOf", ()) if each != {"type": "null"}]
            assert len(others) <= 1, f"{name} is one of several"
            assert "anyOf" not in part or {"type": "null"} in part["anyOf"], name


def test_links_and_files_are_what_generators_take(document: Json) -> None:
    for path, method, operation in operations(document):
        ok = operation["responses"]["200"]
        for link in ok.get("links", {}).values():
            assert isinstance(link.get("requestBody", ""), str), f"{method} {path}"
        for kind, media in ok["content"].items():
            if path == "/v1/scores":
                assert media["schema"]["format"] == "binary", kind
