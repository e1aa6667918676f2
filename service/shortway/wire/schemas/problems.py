"""The problem of every call that fails."""

from shortway.wire.problems import MOST_FAULTS, PROBLEMS
from shortway.wire.schemas.fields import Answer, Part, Raw, Several, Text, Whole, told

_FAULT = {
    "pointer": "/symbols/1",
    "position": 0,
    "expected": "a root, A to G",
    "detail": "a chord symbol begins with its root",
}


class FaultSchema(Answer):
    """One thing wrong, where it is and what would have been right there."""

    pointer = Text(
        required=True,
        metadata=told("JSON pointer (RFC 6901) into the body or query; empty: all of it.",
                      _FAULT["pointer"]),
    )  # fmt: skip
    position = Whole(metadata=told("Index of the first faulty character, from 0.", 0))
    expected = Text(metadata=told("What would have been right there.", _FAULT["expected"]))
    detail = Text(
        required=True,
        metadata=told("What is wrong there, in a musician's words.", _FAULT["detail"]),
    )


class ProblemSchema(Answer):
    """A call that failed, after RFC 9457."""

    type = Text(
        required=True,
        metadata=told("URI of this kind of problem; it ends with the code.",
                      "urn:problem-type:shortway:symbol-unreadable", format="uri"),
    )  # fmt: skip
    title = Text(
        required=True,
        metadata=told("The kind of problem in words.", "A chord symbol that cannot be read"),
    )
    status = Whole(
        required=True,
        metadata=told("The HTTP status.", 422, minimum=400, maximum=599),
    )
    code = Text(
        required=True,
        metadata=told(f"Stable code; new ones may be added. Today: {', '.join(PROBLEMS)}.",
                      "symbol-unreadable"),
    )  # fmt: skip
    detail = Text(
        required=True,
        metadata=told("What is wrong, in a musician's words.", _FAULT["detail"]),
    )
    errors = Several(
        Part(FaultSchema),
        required=True,
        metadata=told(f"Each thing wrong, {MOST_FAULTS} at most; may be empty.", [_FAULT]),
    )
    excluded = Raw(
        {"type": "object", "additionalProperties": {"type": "integer"}},
        metadata=told("With no-voicing: how many voicings each rule threw out.", {"reach": 12}),
    )
