"""Problems, health and the OpenAPI document."""

from shortway.wire.fields import (
    CoreValue,
    ResponseSchema,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictString,
    doc,
)
from shortway.wire.problems import MOST_FAULTS, PROBLEMS

_FAULT = {
    "pointer": "/symbols/1",
    "position": 0,
    "expected": "a root, A to G",
    "detail": "a chord symbol begins with its root",
}


class FaultSchema(ResponseSchema):
    """One fault: where it is, and what is expected there."""

    pointer = StrictString(
        "JSON pointer (RFC 6901) into the body or query; empty: all of it.", _FAULT["pointer"]
    )
    position = StrictInteger("Index of the first faulty character, from 0.", 0, optional=True)
    line = StrictInteger("Its line in a text chart, from 1.", 1, optional=True)
    column = StrictInteger("Its column in that line, from 1.", 1, optional=True)
    expected = StrictString("What is expected there.", _FAULT["expected"], optional=True)
    detail = StrictString("What is wrong there.", _FAULT["detail"])


class ProblemSchema(ResponseSchema):
    """A call that failed, after RFC 9457."""

    type = StrictString(
        "The page of this kind of problem, a path of this service that ends with the code.",
        "/docs/errors/symbol-unreadable",
        format="uri-reference",
    )
    title = StrictString("The kind of problem in words.", "Cannot read a chord symbol")
    status = StrictInteger("The HTTP status.", 422, minimum=400, maximum=599)
    code = StrictString(
        metadata={
            **doc("Stable code; new ones may be added. `x-codes` lists them.", "symbol-unreadable"),
            "x-codes": {c: {"status": s, "title": title} for c, (s, title) in PROBLEMS.items()},
        }
    )
    detail = StrictString("What is wrong.", _FAULT["detail"])
    errors = StrictList(
        StrictNested(FaultSchema), f"The faults, {MOST_FAULTS} at most; may be empty.", [_FAULT]
    )
    excluded = CoreValue(
        {"type": "object", "additionalProperties": {"type": "integer"}},
        "With no-voicing: how many voicings each rule rejected.",
        {"reach": 12},
        optional=True,
    )


class HealthSchema(ResponseSchema):
    """The state of the service."""

    status = StrictString("ok, or ready.", "ok")


class ReadinessSchema(HealthSchema):
    """Whether the service is ready, and what it computes with."""

    search = StrictString(
        "What searches: compiled, or numpy where the installation found no C compiler. "
        "Both find the same paths.",
        "compiled",
    )


class OpenApiDocumentSchema(ResponseSchema):
    """An OpenAPI 3.1 document."""

    openapi = StrictString("The version of OpenAPI.", "3.1.0")
    info = CoreValue(
        {"type": "object", "additionalProperties": True},
        "Title and version.",
        {"title": "Shortway", "version": "1"},
    )
    paths = CoreValue({"type": "object", "additionalProperties": True}, "The calls.", {})
