"""Components of the OpenAPI document: headers, failures, authentication, shared schemas.

Knows the wire's schemas; no call.
"""

from collections.abc import Mapping
from typing import Any, Final

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin

from shortway.api.http.problems import MEDIA_TYPE
from shortway.wire import fields
from shortway.wire.problems import problem
from shortway.wire.schemas import batches
from shortway.wire.schemas.charts import ChartInputSchema
from shortway.wire.schemas.chords import ChordSchema
from shortway.wire.schemas.problems import ProblemSchema
from shortway.wire.schemas.settings import SettingSchema

Json = dict[str, Any]

INFO: Final[Json] = {
    "summary": "The smoothest playable keyboard voicings for a chord chart",
    "description": (
        "One voicing for each chord of a chart, such that the hands move as little as possible: a"
        " provably minimal path. Every response is a pure function of its request. In a request"
        " null means absent, and so does an empty list in an optional field. Every failure is a"
        " problem by RFC 9457, with a stable code and JSON pointers to what is wrong."
    ),
    "license": {"name": "MIT", "identifier": "MIT"},
}

#: The security scheme's name.
BEARER: Final = "Bearer"
#: Statuses that a call may fail with, by the kind of call.
FAILURES: Final = {
    "open": ("406", "422", "default"),
    "get": ("401", "406", "422", "429", "503", "default"),
    "post": ("400", "401", "406", "413", "415", "422", "429", "503", "default"),
    "stream": ("401", "406", "415", "422", "429", "503", "default"),
}
FAILURE_OF_STATUS: Final = {
    "401": ("Unauthorized", "unauthorized", "A valid token is required."),
    "400": ("NotJson", "not-json", "The body is not JSON, or not text, in UTF-8."),
    "406": ("NotAcceptable", "not-acceptable", "The Accept header excludes this response."),
    "413": ("BodyTooLarge", "body-too-large", "The body is over the limit, 1 MiB by default."),
    "415": ("UnsupportedMediaType", "unsupported-media-type", "The Content-Type is not supported."),
    "422": ("Unprocessable", "out-of-range", "The request is not valid, or cannot be met."),
    "429": ("TooManyRequests", "too-many-requests", "The rate limit is exceeded."),
    "503": ("Unavailable", "unavailable", "The service is busy or shutting down; retry later."),
    "default": ("Problem", "internal-error", "Any other failure."),
}
#: Headers of a failure beside those of all responses.
FAILURE_HEADERS: Final = {
    "Unauthorized": ("WWW-Authenticate",),
    "TooManyRequests": ("Retry-After", "RateLimit", "RateLimit-Policy"),
    "Unavailable": ("Retry-After",),
}


def _header(description: str, example: str, *, required: bool = False) -> Json:
    always = {"required": True} if required else {}
    schema = {"type": "string", "examples": [example]}
    return {"description": description, **always, "schema": schema}


#: Headers of deprecated calls alone.
DEPRECATION_HEADERS: Final[Mapping[str, Json]] = {
    "Deprecation": _header(
        "Of a deprecated call: since when it is, in Unix seconds (RFC 9745).", "@1803859200"
    ),
    "Sunset": _header(
        "Of a deprecated call: when it may stop answering (RFC 8594).",
        "Wed, 01 Mar 2028 00:00:00 GMT",
    ),
    "Link": _header(
        "Of a deprecated call: the page about it.",
        '</docs/versions>; rel="deprecation"; type="text/html"',
    ),
}
_HEADERS: Final[Mapping[str, Json]] = {
    "API-Version": _header("The version of this API.", "1", required=True),
    "X-Request-Id": _header(
        "The client's own id, if it sent a valid one, else a new one.",
        "rehearsal-17",
        required=True,
    ),
    "WWW-Authenticate": _header(
        'Bearer, with error="invalid_token" where a token was sent.',
        'Bearer realm="shortway"',
        required=True,
    ),
    "Retry-After": _header("Seconds after which to retry.", "7", required=True),
    "RateLimit": _header(
        "With a rate limit: remaining requests, and seconds until the count is reset"
        " (draft-ietf-httpapi-ratelimit-headers).",
        '"default";r=599;t=42',
    ),
    "RateLimit-Policy": _header(
        "With a rate limit: requests allowed, and the window in seconds.", '"default";q=600;w=60'
    ),
    "ETag": _header("Identifies this response; send it in If-None-Match.", '"3f9a"'),
    "Content-Disposition": _header(
        "The file's name, made from the title.",
        'attachment; filename="Cloakroom-Waltz.mid"',
        required=True,
    ),
    "Vary": _header("The request headers that the response depends on.", "Accept", required=True),
    "Cache-Control": _header("How long the response may be cached.", "public, max-age=3600"),
}

_SECURITY: Final[Json] = {
    "type": "http",
    "scheme": "bearer",
    "description": (
        "A bearer token (RFC 6750), required where the service is configured with a token file. A"
        " call without a valid token is then rejected with 401 and WWW-Authenticate."
    ),
}


def spec_options() -> Json:
    """Options of apispec's `APISpec`."""
    plugin = MarshmallowPlugin(schema_name_resolver=component_name)
    return {"marshmallow_plugin": plugin, "info": INFO, "servers": [{"url": "/"}]}


def add_components(spec: APISpec) -> None:
    """Add the components that no call names by its schema, and the failures of all calls."""
    converter = next(p for p in spec.plugins if isinstance(p, MarshmallowPlugin)).converter
    assert converter is not None
    converter.add_attribute_function(fields.field_schema)  # type: ignore[no-untyped-call]
    for schema in (
        ProblemSchema,
        ChordSchema,
        ChartInputSchema,
        SettingSchema,
        batches.BatchLineSchema,
        batches.BatchAnswerSchema,
    ):
        if component_name(schema) not in spec.components.schemas:
            spec.components.schema(component_name(schema), schema=schema)
    spec.components.security_scheme(BEARER, _SECURITY)
    for name, header in _HEADERS.items():
        spec.components.header(name, header)
    for name, code, about in FAILURE_OF_STATUS.values():
        example = problem(code, about)
        content = {"schema": schema_ref("Problem"), "example": example}
        spec.components.response(name, {"description": about, "content": {MEDIA_TYPE: content}})


def component_name(schema: Any) -> str:
    """The component of a schema: its class's name without ``Schema``."""
    kind = schema if isinstance(schema, type) else type(schema)
    return kind.__name__.removesuffix("Schema")


def schema_ref(name: str) -> Json:
    """A reference to the schema `name`."""
    return {"$ref": f"#/components/schemas/{name}"}


def header_refs(*names: str) -> Json:
    """A response's headers, each a reference to its component."""
    return {name: {"$ref": f"#/components/headers/{name}"} for name in names}
