"""Batches: a line in, a line out, and the media that carry them."""

from typing import Any

from shortway.wire.fields import ResponseSchema, StrictInteger, StrictNested, StrictString, doc
from shortway.wire.schemas.paths import PathRequestSchema, VoicingPathSchema
from shortway.wire.schemas.problems import ProblemSchema

_ID = doc("Your own id for this line; its answer has the same id.", "monday-1")


class BatchLineSchema(PathRequestSchema):
    """A line of a batch: a paths request with its id."""

    id = StrictString(required=True, metadata=_ID)


class BatchAnswerSchema(ResponseSchema):
    """The answer to a line of a batch, or to an incomplete body."""

    id = StrictString("The line's id; null where it could not be read.", "monday-1", null=True)
    line = StrictInteger("The line's number from 1, blank lines counted.", 3, minimum=1)
    path = StrictNested(VoicingPathSchema, "Its path; null where it was not solved.", null=True)
    problem = StrictNested(
        ProblemSchema, "What is wrong, else null; pointers lead into the line.", null=True
    )


def media(name: str, description: str) -> dict[str, Any]:
    """A media type object: text whose every line is a value of the component `name`."""
    return {
        "schema": {"type": "string", "description": description},
        "x-line-schema": {"$ref": f"#/components/schemas/{name}"},
    }
