"""Health: whether the service lives and is ready."""

from shortway.wire.schemas.fields import Answer, Raw, Text, told


class HealthSchema(Answer):
    """How the service is."""

    status = Text(required=True, metadata=told("ok, or ready.", "ok"))


class DocumentSchema(Answer):
    """An OpenAPI 3.1 document."""

    openapi = Text(required=True, metadata=told("The version of OpenAPI.", "3.1.0"))
    info = Raw(
        {"type": "object", "additionalProperties": True},
        required=True,
        metadata=told("Title and version.", {"title": "Shortway", "version": "1"}),
    )
    paths = Raw(
        {"type": "object", "additionalProperties": True},
        required=True,
        metadata=told("The calls.", {}),
    )
