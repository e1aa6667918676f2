"""The OpenAPI document: made from the schemas, completed with examples of what the app answers.

Knows the app's calls by their operationId. ``python -m shortway.api`` prints it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import orjson
from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from flask import Flask

from shortway.api.http import problems
from shortway.api.http.request_body import JSON, MUSICXML, MXL, TEXT
from shortway.api.middleware import authentication as tokens
from shortway.api.openapi import example_responses as specimens
from shortway.api.openapi.examples import EXAMPLES
from shortway.api.openapi.links import LINKS
from shortway.api.resources.batches import JSON_LINES
from shortway.api.resources.scores import FORM_OF as SCORE_TYPES
from shortway.wire import fields
from shortway.wire.example_score import SHEET
from shortway.wire.problems import problem
from shortway.wire.schemas import batches
from shortway.wire.schemas.charts import (
    CHART,
    ChartObjectSchema,
    MusicXmlChartSchema,
    MxlChartSchema,
)
from shortway.wire.schemas.chords import ChordSchema, UnreadSymbolSchema
from shortway.wire.schemas.problems import ProblemSchema
from shortway.wire.schemas.scores import RhythmInputSchema
from shortway.wire.schemas.settings import NOTES_OR_FREE, SettingSchema

Json = dict[str, Any]

TITLE_AND_MORE: Final[Json] = {
    "summary": "The smoothest playable keyboard voicings for a chord chart",
    "description": (
        "A pianist who comps gets one voicing for each chord of a chart, such that the hands move"
        " as little as they can: the least of all there is, not a good guess. Every answer is a"
        " pure function of its request. Whole numbers are written whole: 4.0 is no 4. Every failure"
        " is a problem after RFC 9457, with a stable code and pointers to what is wrong."
    ),
    "license": {"name": "MIT", "identifier": "MIT"},
}

#: The name of the way to say who asks.
_BEARER: Final = "Bearer"
#: Statuses that a call may fail with, by what it takes, beside the ones that any may.
_FAILURES: Final = {
    "open": ("406", "422", "default"),
    "get": ("401", "406", "422", "429", "503", "default"),
    "post": ("400", "401", "406", "413", "415", "422", "429", "503", "default"),
    "stream": ("401", "406", "415", "422", "429", "503", "default"),
}
_FAILURE_OF: Final = {
    "401": ("Unauthorized", "unauthorized", "A service that asks for tokens, and no valid one."),
    "400": ("NotJson", "not-json", "A body that is not JSON in UTF-8, or not text."),
    "406": ("NotAcceptable", "not-acceptable", "Accept leaves out what this call answers with."),
    "413": ("BodyTooLarge", "body-too-large", "A body over the limit, 1 MiB unless set."),
    "415": ("UnsupportedMediaType", "unsupported-media-type", "A body of a type not read here."),
    "422": ("Unprocessable", "out-of-range", "A request that is understood and cannot be met."),
    "429": ("TooManyRequests", "too-many-requests", "More than one asker may have in a time."),
    "503": ("Unavailable", "unavailable", "Too much is under way here; ask again later."),
    "default": ("Problem", "internal-error", "Any other failure."),
}
#: Headers that a failure has beside those of all answers.
_HEADERS_OF_FAILURE: Final = {
    "Unauthorized": ("WWW-Authenticate",),
    "TooManyRequests": ("Retry-After", "RateLimit", "RateLimit-Policy"),
    "Unavailable": ("Retry-After",),
}

_HEADERS: Final[Mapping[str, Json]] = {
    "API-Version": {
        "description": "The version of this interface.",
        "required": True,
        "schema": {"type": "string", "examples": ["1"]},
    },
    "X-Request-Id": {
        "description": "The client's own id, if it sent a sane one; else a new one.",
        "required": True,
        "schema": {"type": "string", "examples": ["rehearsal-17"]},
    },
    "WWW-Authenticate": {
        "description": 'Bearer, with error="invalid_token" where a token was sent.',
        "required": True,
        "schema": {"type": "string", "examples": ['Bearer realm="shortway"']},
    },
    "Retry-After": {
        "description": "Seconds after which to ask again.",
        "required": True,
        "schema": {"type": "string", "examples": ["7"]},
    },
    "RateLimit": {
        "description": (
            "Where there is a limit: requests that are left, and seconds until they are counted"
            " anew (draft-ietf-httpapi-ratelimit-headers)."
        ),
        "schema": {"type": "string", "examples": ['"default";r=599;t=42']},
    },
    "RateLimit-Policy": {
        "description": "Where there is a limit: how many requests in how many seconds.",
        "schema": {"type": "string", "examples": ['"default";q=600;w=60']},
    },
    "ETag": {
        "description": "Names this answer; send it again as If-None-Match.",
        "schema": {"type": "string", "examples": ['"3f9a"']},
    },
    "Content-Disposition": {
        "description": "A name for the file, made from the title.",
        "required": True,
        "schema": {"type": "string", "examples": ['attachment; filename="Cloakroom-Waltz.mid"']},
    },
    "Vary": {
        "description": "What the answer depends on beside the body.",
        "required": True,
        "schema": {"type": "string", "examples": ["Accept"]},
    },
    "Cache-Control": {
        "description": "How long the answer may be kept.",
        "schema": {"type": "string", "examples": ["public, max-age=3600"]},
    },
}


_SECURITY: Final[Json] = {
    "type": "http",
    "scheme": "bearer",
    "description": (
        "A token (RFC 6750), where whoever runs the service has given out some; else nobody is"
        " asked for one. A call without a valid one is then a 401 with WWW-Authenticate."
    ),
}


def spec_options() -> Json:
    """What the maker of the document is told from the start."""
    plugin = MarshmallowPlugin(schema_name_resolver=_component_name)
    return {
        "marshmallow_plugin": plugin,
        "info": TITLE_AND_MORE,
        "servers": [{"url": "http://127.0.0.1:8000", "description": "A service of your own."}],
    }


def _component_name(schema: Any) -> str:
    kind = schema if isinstance(schema, type) else type(schema)
    return kind.__name__.removesuffix("Schema")


def add_components(spec: APISpec) -> None:
    """Components that no call's schema names by itself, and the failures of all calls."""
    converter = next(p for p in spec.plugins if isinstance(p, MarshmallowPlugin)).converter
    assert converter is not None
    converter.add_attribute_function(fields.core_value_schema)  # type: ignore[no-untyped-call]
    for schema in (
        ProblemSchema,
        ChordSchema,
        UnreadSymbolSchema,
        ChartObjectSchema,
        RhythmInputSchema,
        MusicXmlChartSchema,
        MxlChartSchema,
        SettingSchema,
        batches.BatchLineSchema,
        batches.BatchPathSchema,
        batches.BatchProblemSchema,
    ):
        if _component_name(schema) not in spec.components.schemas:
            spec.components.schema(_component_name(schema), schema=schema)
    spec.components.schema("ChordOrUnreadSymbol", _either("Chord", "UnreadSymbol"))
    spec.components.schema("ChartInput", _chart_input())
    spec.components.schema("NotesOrFree", NOTES_OR_FREE)
    spec.components.schema("BatchAnswer", batches.BATCH_ANSWER)
    spec.components.security_scheme(_BEARER, _SECURITY)
    for name, header in _HEADERS.items():
        spec.components.header(name, header)
    for name, code, about in _FAILURE_OF.values():
        example = problem(code, about)
        content = {"schema": {"$ref": "#/components/schemas/Problem"}, "example": example}
        spec.components.response(
            name, {"description": about, "content": {problems.MEDIA_TYPE: content}}
        )


def _either(*names: str) -> Json:
    return {
        "description": "The chord of a symbol, or why the symbol cannot be read.",
        "oneOf": [{"$ref": f"#/components/schemas/{name}"} for name in names],
    }


def _chart_input() -> Json:
    text = {"type": "string", "description": "A text chart.", "examples": ["| Eb7 | Ab7 |"]}
    return {
        "description": "A chart as a text, in its JSON form, or as a lead sheet.",
        "oneOf": [text, *(_ref(name) for name in ("ChartObject", "MusicXmlChart", "MxlChart"))],
        "examples": ["| Eb7 | Ab7 | Eb7 | % |"],
    }


# --- the finished document ----------------------------------------------------------------------


def document_bytes(app: Flask) -> bytes:
    """The document of `app`, made when it is first asked for."""
    kept: dict[str, bytes] = app.extensions.setdefault("shortway-document", {})
    if "bytes" not in kept:
        kept["bytes"] = pretty_json(build_document(app))
    return kept["bytes"]


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
        component["headers"] = _refs("API-Version", "X-Request-Id")
    for name, headers in _HEADERS_OF_FAILURE.items():
        document["components"]["responses"][name]["headers"] |= _refs(*headers)
    operations = {of["operationId"]: of for _, _, of in _operations(document)}
    for example in EXAMPLES:
        specimens.add_examples(
            operations[example.operation], example, specimens.record_response(app, example)
        )
    specimens.fill_examples(document["components"]["schemas"])
    return {"openapi": document.pop("openapi"), **document}


def _describe_schemas(document: Json, refs: Mapping[Any, str]) -> None:
    """Each schema's docstring, and no field beyond it on the way in."""
    schemas = document["components"]["schemas"]
    for key, name in refs.items():
        about = " ".join((key[0].__doc__ or "").split())
        schemas[name] = {"type": "object", "description": about, **schemas[name]}
        if not issubclass(key[0], fields.RequestSchema):
            schemas[name].pop("additionalProperties", None)


def _operations(document: Json) -> Iterator[tuple[str, str, Json]]:
    for path, item in document["paths"].items():
        for method, operation in item.items():
            if method in _FAILURES:
                yield path, method, operation


def _finish(operation: Json, path: str, method: str) -> None:
    """Headers of the answer, the failures, and what the chart's body may be."""
    operation["description"] = " ".join(operation["description"].split())
    ok = operation["responses"]["200"]
    is_kept = method == "get" and not path.endswith("z")
    names = ("API-Version", "X-Request-Id", "Cache-Control")[: 3 if method == "get" else 2]
    ok["headers"] = _refs(*names, *(("ETag",) if is_kept else ()))
    operation["responses"] = {"200": ok}
    if is_kept:
        about = "What If-None-Match names is still the answer."
        operation["responses"]["304"] = {"description": about, "headers": dict(ok["headers"])}
        operation.setdefault("parameters", []).append(_if_none_match())
    is_stream = operation["operationId"] == "findPaths"
    is_open = path in tokens.PUBLIC
    operation["security"] = [] if is_open else [{}, {_BEARER: []}]
    if not is_open:
        ok["headers"] |= _refs("RateLimit", "RateLimit-Policy")
    for status in _FAILURES["stream" if is_stream else "open" if is_open else method]:
        name = _FAILURE_OF[status][0]
        operation["responses"][status] = {"$ref": f"#/components/responses/{name}"}
    if operation["operationId"] == "readChart":
        operation["requestBody"] = _chart_body()
    if is_stream:
        operation["requestBody"] = _batch_body()
        about = "The answers, a line each, in the order of the lines."
        ok["content"] = _lines("BatchAnswer", about)
    if operation["operationId"] == "writeScore":
        ok["content"] = {kind: {"schema": _file(kind)} for kind in SCORE_TYPES}
        ok["headers"] |= _refs("Content-Disposition", "Vary")
    if operation["operationId"] in LINKS:
        ok["links"] = LINKS[operation["operationId"]]
    if "requestBody" in operation:
        operation["requestBody"]["required"] = True
        operation["requestBody"].setdefault("description", "What is asked.")


def _if_none_match() -> Json:
    return {
        "in": "header",
        "name": "If-None-Match",
        "required": False,
        "description": "The ETag of an answer that you have; 304 says that it still holds.",
        "schema": {"type": "string", "examples": ['"3f9a"']},
    }


def _chart_body() -> Json:
    text = {"type": "string", "description": "A text chart.", "examples": ["| Eb7 | Ab7 |"]}
    sheet = {"type": "string", "description": "A lead sheet as MusicXML.", "examples": [SHEET]}
    packed = {"type": "string", "format": "binary", "description": "A lead sheet, compressed."}
    kinds = {JSON: CHART, TEXT: text, MUSICXML: sheet, MXL: packed}
    return {
        "description": "The chart itself: an object, a JSON string, a plain text or a lead sheet.",
        "content": {kind: {"schema": schema} for kind, schema in kinds.items()},
    }


def _file(kind: str) -> Json:
    """The schema of a score: a text where it is XML, else bytes."""
    found = {"type": "string", "description": "The file."}
    return found if kind.endswith("xml") else {**found, "format": "binary"}


def _ref(name: str) -> Json:
    return {"$ref": f"#/components/schemas/{name}"}


def _batch_body() -> Json:
    return {
        "description": "Paths requests, a line each; may be packed as gzip.",
        "content": _lines("BatchLine", "Paths requests with an id, a line each."),
    }


def _lines(name: str, description: str) -> Json:
    return {kind: batches.media(name, description) for kind in JSON_LINES}


def _refs(*headers: str) -> Json:
    return {name: {"$ref": f"#/components/headers/{name}"} for name in headers}
