"""Health: whether the service lives and is ready."""

from shortway.wire.fields import CoreValue, ResponseSchema, StrictString, doc


class HealthSchema(ResponseSchema):
    """How the service is."""

    status = StrictString(required=True, metadata=doc("ok, or ready.", "ok"))


class DocumentSchema(ResponseSchema):
    """An OpenAPI 3.1 document."""

    openapi = StrictString(required=True, metadata=doc("The version of OpenAPI.", "3.1.0"))
    info = CoreValue(
        {"type": "object", "additionalProperties": True},
        required=True,
        metadata=doc("Title and version.", {"title": "Shortway", "version": "1"}),
    )
    paths = CoreValue(
        {"type": "object", "additionalProperties": True},
        required=True,
        metadata=doc("The calls.", {}),
    )
