"""The OpenAPI document: made from the schemas, completed with the app's responses as examples.

Knows the app's calls by their operationId. ``python -m shortway.api`` makes and prints it, which
takes a second; the service sends the file openapi.json, a link to the one in openapi/.
"""

from collections.abc import Iterator, Mapping
from functools import cache
from importlib.resources import files
from typing import Any, Final

import orjson
from flask import Flask

from shortway.api.http.chart_request import TEXT_OPTIONS
from shortway.api.http.deprecation import DEPRECATED
from shortway.api.http.request_body import JSON, JSON_LINES, MUSICXML, MXL
from shortway.api.middleware.authentication import is_public
from shortway.api.openapi.components import (
    BEARER,
    DEPRECATION_HEADERS,
    FAILURE_HEADERS,
    FAILURE_OF_STATUS,
    FAILURES,
    header_refs,
    schema_ref,
)
from shortway.api.openapi.enums import name_enums
from shortway.api.openapi.example_responses import add_examples, fill_examples, record_response
from shortway.api.openapi.examples import EXAMPLES
from shortway.api.openapi.links import LINKS
from shortway.scores.chart_files.formats import TEXT_FORMATS, TextFormat
from shortway.scores.formats import FORMS
from shortway.wire import fields
from shortway.wire.query_options import query_options
from shortway.wire.schemas import batches
from shortway.wire.schemas.scores import ScoreRequestSchema

Json = dict[str, Any]

#: Parts of a request that the core reads, with their schemas.
_PARTS: Final = {"setting": "Setting", "chart": "ChartInput"}
#: Calls whose body may be the chart itself.
_TAKING_CHARTS: Final = ("writeScore", "writePerformance")


@cache
def released_document() -> bytes:
    """The document as it was made with this release."""
    return files(__package__).joinpath("openapi.json").read_bytes()


def pretty_json(value: Any) -> bytes:
    """`value` as JSON that people can read and compare."""
    return orjson.dumps(value, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)


def build_document(app: Flask) -> Json:
    """The document of `app` with headers, failures, descriptions and examples."""
    api = app.extensions["flask-smorest"]["apis"][""]["ext_obj"]
    document: Json = orjson.loads(orjson.dumps(api.spec.to_dict()))
    _describe_schemas(document, api.ma_plugin.converter.refs)
    for path, method, operation in _operations(document):
        _finish(operation, path, method)
    for component in document["components"]["responses"].values():
        component["headers"] = header_refs("API-Version", "X-Request-Id")
    for name, headers in FAILURE_HEADERS.items():
        document["components"]["responses"][name]["headers"] |= header_refs(*headers)
    operations = {of["operationId"]: of for _, _, of in _operations(document)}
    for example in EXAMPLES:
        add_examples(operations[example.operation], example, record_response(app, example))
    fill_examples(document["components"]["schemas"])
    for name in _TAKING_CHARTS:
        parameters = operations[name].setdefault("parameters", [])
        parameters.extend(_query_parameters(document["components"]["schemas"]))
    texts = document["components"]["schemas"]["ChartInput"]["properties"]
    parameters = operations["readChart"].setdefault("parameters", [])
    parameters.extend(_query_parameter(name, texts[name]) for name in TEXT_OPTIONS)
    name_enums(document)
    return {"openapi": document.pop("openapi"), **document}


def _describe_schemas(document: Json, refs: Mapping[Any, str]) -> None:
    """Add each schema's docstring; only requests reject unknown fields."""
    schemas = document["components"]["schemas"]
    for key, name in refs.items():
        about = " ".join((key[0].__doc__ or "").split())
        schemas[name] = {"type": "object", "description": about, **schemas[name]}
        if not issubclass(key[0], fields.RequestSchema):
            schemas[name].pop("additionalProperties", None)
            for field in schemas[name].get("properties", {}).values():
                field.pop("default", None)


def _operations(document: Json) -> Iterator[tuple[str, str, Json]]:
    for path, item in document["paths"].items():
        for method, operation in item.items():
            if method in FAILURES:
                yield path, method, operation


def _finish(operation: Json, path: str, method: str) -> None:
    """Add headers, failures, security, and bodies that are not JSON."""
    operation["description"] = " ".join(operation["description"].split())
    ok = operation["responses"]["200"]
    is_kept = method == "get" and not path.endswith("z")
    names = ("API-Version", "X-Request-Id", "Cache-Control")[: 3 if method == "get" else 2]
    ok["headers"] = header_refs(*names, *(("ETag",) if is_kept else ()))
    operation["responses"] = {"200": ok}
    if is_kept:
        about = "The response has not changed since the one that If-None-Match names."
        operation["responses"]["304"] = {"description": about, "headers": dict(ok["headers"])}
        operation.setdefault("parameters", []).append(_if_none_match())
    is_stream = operation["operationId"] == "findPaths"
    is_open = is_public(path)
    operation["security"] = [] if is_open else [{}, {BEARER: []}]
    if not is_open:
        ok["headers"] |= header_refs("RateLimit", "RateLimit-Policy")
    for status in FAILURES["stream" if is_stream else "open" if is_open else method]:
        name = FAILURE_OF_STATUS[status][0]
        operation["responses"][status] = {"$ref": f"#/components/responses/{name}"}
    if operation["operationId"] == "readChart":
        operation["requestBody"] = _chart_body()
    if operation["operationId"] in _TAKING_CHARTS:
        operation["requestBody"]["content"] |= _raw_charts()
        operation["requestBody"]["description"] = "A request, or its chart alone."
    if is_stream:
        operation["requestBody"] = _batch_body()
        about = "The results, a line each, in the order of the request's lines."
        ok["content"] = _lines("BatchAnswer", about)
    if operation["operationId"] == "writeScore":
        ok["content"] = {kind: {"schema": _file(kind)} for kind, _ in FORMS.values()}
        ok["headers"] |= header_refs("Content-Disposition", "Vary")
    if operation["operationId"] in DEPRECATED:
        operation["deprecated"] = True
        ok["headers"] |= DEPRECATION_HEADERS
    if operation["operationId"] in LINKS:
        ok["links"] = LINKS[operation["operationId"]]
    if "requestBody" in operation:
        operation["requestBody"]["required"] = True
        operation["requestBody"].setdefault("description", "The request.")


def _if_none_match() -> Json:
    return {
        "in": "header",
        "name": "If-None-Match",
        "required": False,
        "description": "The ETag of a response that you have; 304 means that it is still valid.",
        "schema": {"type": "string", "examples": ['"3f9a"']},
    }


def _chart_body() -> Json:
    return {
        "description": "The chart itself: an object, plain text or a lead sheet.",
        "content": {JSON: {"schema": schema_ref("ChartInput")}, **_raw_charts()},
    }


def _raw_charts() -> Json:
    """The media types of a body that is a chart and no JSON."""
    texts = {each.media_type: _text_media(each) for each in TEXT_FORMATS.values()}
    sheet = {"type": "string", "format": "binary", "description": "A lead sheet as MusicXML."}
    packed = {"type": "string", "format": "binary", "description": "A lead sheet, compressed."}
    return {**texts, MUSICXML: {"schema": sheet}, MXL: {"schema": packed}}


def _text_media(form: TextFormat) -> Json:
    schema = {"type": "string", "description": f"One {form.title}.", "examples": [form.example]}
    summary = f"One {form.title}"
    return {"schema": schema, "examples": {"text": {"summary": summary, "value": form.example}}}


def _query_parameter(name: str, field: Json) -> Json:
    field = dict(field)
    return {
        "in": "query", "name": name, "description": field.pop("description"), "schema": field,
    }  # fmt: skip


def _query_parameters(schemas: Mapping[str, Json]) -> Iterator[Json]:
    """The options of a score's query."""
    own = schemas["ScoreRequest"]["properties"]
    show = schemas[own["show"]["$ref"].rpartition("/")[2]]["properties"]
    parts = {None: own, "show": show}
    parts |= {name: schemas[of]["properties"] for name, of in _PARTS.items()}
    for option in query_options(ScoreRequestSchema()).values():
        yield _query_parameter(option.name, parts[option.inside][option.name])


def _file(kind: str) -> Json:
    """The schema of a score: bytes, whatever its form."""
    return {"type": "string", "format": "binary", "description": f"The file, {kind}."}


def _batch_body() -> Json:
    return {
        "description": "Paths requests, a line each; may be compressed with gzip.",
        "content": _lines("BatchLine", "Paths requests with an id, a line each."),
    }


def _lines(name: str, description: str) -> Json:
    return {kind: batches.media(name, description) for kind in JSON_LINES}
