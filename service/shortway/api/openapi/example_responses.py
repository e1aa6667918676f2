"""Examples for the OpenAPI document: the app's responses, and one for every field without one.

Knows the document's form and no noun.
"""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any
from urllib.parse import urlsplit

import orjson
from flask import Flask

from shortway.api.http.problems import MEDIA_TYPE
from shortway.api.openapi.examples import Example
from shortway.request_trace import internal_requests

Json = dict[str, Any]


def record_response(app: Flask, example: Example) -> Json:
    """The response of `app` to `example`: status, content type, body."""
    sent: Json = {} if example.body is None else request_arguments(example)
    sent |= {"headers": {"Accept": example.accept}, "method": example.method}
    with internal_requests():
        response = app.test_client().open(example.path, **sent)
        response.get_data()
    is_json = response.mimetype in ("application/json", MEDIA_TYPE)
    body: Any = orjson.loads(response.data) if is_json else response.get_data(as_text=True)
    if example.installed:
        body |= example.installed
    return {"status": response.status_code, "type": response.mimetype, "body": body}


def request_arguments(example: Example) -> Json:
    """The body of `example` and its content type, as arguments of a test client."""
    data = example.body.encode() if example.text else orjson.dumps(example.body)
    return {"data": data, "content_type": example.kind}


def add_examples(operation: Json, example: Example, answer: Json) -> None:
    """Add request and response to the examples of their operation, unless it failed."""
    if answer["status"] != HTTPStatus.OK:
        return
    if example.body is not None:
        media = operation["requestBody"]["content"][example.kind]
        _add(media, example, example.body)
        if query := urlsplit(example.path).query:
            media["examples"][example.name]["x-query"] = query
    _add(operation["responses"]["200"]["content"][answer["type"]], example, answer["body"])


def _add(media: Json, example: Example, value: Any) -> None:
    media.setdefault("examples", {})[example.name] = {"summary": example.summary, "value": value}


def fill_examples(schemas: Mapping[str, Json]) -> None:
    """Give every field without an example one that is made of its parts' examples."""
    for schema in schemas.values():
        for field in schema.get("properties", {}).values():
            field.setdefault("examples", [_of(field, schemas)])


def _of(schema: Json, schemas: Mapping[str, Json]) -> Any:
    """An example of `schema`: its own, or one made of its parts'."""
    if schema.get("examples"):
        return schema["examples"][0]
    if "$ref" in schema:
        return _of(schemas[schema["$ref"].rpartition("/")[2]], schemas)
    for choice in ("oneOf", "anyOf"):
        if choice in schema:
            return _of(schema[choice][0], schemas)
    if "items" in schema:
        return [_of(schema["items"], schemas)]
    fields = schema.get("properties", {})
    return {name: _of(field, schemas) for name, field in fields.items()}
