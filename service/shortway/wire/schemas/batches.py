"""Batches: a line in, a line out, and the media that carry them."""

from typing import Any

from shortway.wire.fields import ResponseSchema, StrictInteger, StrictNested, StrictString, doc
from shortway.wire.schemas.paths import PathRequestSchema, VoicingPathSchema
from shortway.wire.schemas.problems import ProblemSchema

_ID = doc("Your own id for this line; its answer has the same id.", "monday-1")


class BatchLineSchema(PathRequestSchema):
    """A line of a batch: a paths request with its id."""

    id = StrictString(required=True, metadata=_ID)


class BatchPathSchema(ResponseSchema):
    """The answer to a line that was solved."""

    id = StrictString(metadata=_ID)
    path = StrictNested(VoicingPathSchema, "Its path.")


class BatchProblemSchema(ResponseSchema):
    """The answer to a line that was not solved, or to an incomplete body."""

    id = StrictString("The line's id; null where it could not be read.", None, null=True)
    line = StrictInteger("The line's number from 1, blank lines counted.", 3, minimum=1)
    problem = StrictNested(ProblemSchema, "What is wrong; pointers lead into the line.")


BATCH_ANSWER: dict[str, Any] = {
    "description": "The answer to a line of a batch.",
    "oneOf": [
        {"$ref": "#/components/schemas/BatchPath"},
        {"$ref": "#/components/schemas/BatchProblem"},
    ],
}


def media(name: str, description: str) -> dict[str, Any]:
    """A media type object: text whose every line is a value of the component `name`."""
    return {
        "schema": {"type": "string", "description": description},
        "x-line-schema": {"$ref": f"#/components/schemas/{name}"},
    }
