"""Problems: the table of codes, and the body that every failure has (RFC 9457).

Knows the core's errors and no HTTP framework. HTTP, batch lines, the command line and the server
write the same body; codes are added to, never renamed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from shortway.core.errors import Fault, NoVoicing, ShortwayError

#: What the ``type`` of every problem begins with; its code follows.
PROBLEM_TYPE: Final = "urn:problem-type:shortway:"

#: Faults that a problem lists at most: a mebibyte of JSON may have a hundred thousand.
MOST_FAULTS: Final = 100

#: Every code with its status and title.
PROBLEMS: Final[dict[str, tuple[int, str]]] = {
    "bad-request": (400, "A request that cannot be understood"),
    "not-text": (400, "A body that is not UTF-8 text"),
    "unauthorized": (401, "Who asks is not known"),
    "forbidden": (403, "Not allowed"),
    "not-found": (404, "Nothing is here"),
    "method-not-allowed": (405, "A method that this call does not have"),
    "not-acceptable": (406, "No answer of the kind that is accepted"),
    "request-timeout": (408, "A request that has not come in time"),
    "body-too-large": (413, "A body that is too large"),
    "uri-too-long": (414, "An address that is too long"),
    "unsupported-media-type": (415, "A body of a type that is not read here"),
    "head-too-large": (431, "Headers that are too large"),
    "too-many-requests": (429, "Too many requests"),
    "not-implemented": (501, "A transfer coding that is not known here"),
    "unavailable": (503, "The service cannot answer now"),
    "not-json": (400, "A body that is not JSON"),
    "not-gzip": (400, "A body that is not gzip"),
    "body-incomplete": (400, "A body that breaks off"),
    "line-too-large": (413, "A line that is too large"),
    "missing-field": (422, "A required field that is missing"),
    "unknown-field": (422, "A field that is not known"),
    "wrong-type": (422, "A value of the wrong type"),
    "out-of-range": (422, "A value that is out of range"),
    "symbol-unreadable": (422, "A chord symbol that cannot be read"),
    "chart-unreadable": (422, "A chart that cannot be read"),
    "beats-do-not-fit": (422, "A measure that its chords do not fill"),
    "no-voicing": (422, "A chord that no voicing of this setting can play"),
    "pin-unplayable": (422, "A pin that cannot be played"),
    "played-unreadable": (422, "Notes that do not fit the chart"),
    "midi-unreadable": (422, "A MIDI file that cannot be read"),
    "notes-needed": (422, "The number of notes is required"),
    "search-too-large": (422, "A request too large to solve exactly"),
    "internal-error": (500, "A fault of the service"),
    "out-of-time": (503, "More work than there is time for"),
}

#: What helps where work was stopped.
OUT_OF_TIME: Final = "fewer alternatives or notes, a narrower range, a shorter chart take less"


def fault_json(fault: Fault) -> dict[str, Any]:
    """One thing wrong; position and expected only where there are any."""
    optional = {"position": fault.position, "expected": fault.expected}
    given = {key: value for key, value in optional.items() if value is not None}
    return {"pointer": fault.pointer, **given, "detail": fault.detail}


def problem(code: str, detail: str, faults: Sequence[Fault] = ()) -> dict[str, Any]:
    """The problem with this code, its status and title, and the first `MOST_FAULTS` faults."""
    status, title = PROBLEMS[code]
    return {
        "type": PROBLEM_TYPE + code,
        "title": title,
        "status": status,
        "code": code,
        "detail": detail,
        "errors": [fault_json(fault) for fault in faults[:MOST_FAULTS]],
    }


def problem_json(error: ShortwayError) -> dict[str, Any]:
    """The problem that an error of the core is; ``excluded`` counts what each rule rejected."""
    body = problem(error.code, error.detail, error.faults)
    if isinstance(error, NoVoicing) and error.excluded:
        body["excluded"] = dict(error.excluded)
    return body
