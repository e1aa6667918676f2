"""Problems: the table of codes, and the body that every failure has (RFC 9457).

Knows the core's errors and no HTTP framework. HTTP, batch lines, the command line and the server
write the same body; codes are added to, never renamed.
"""

from collections.abc import Sequence
from typing import Any, Final

from shortway.core.errors import Fault, NoVoicing, ShortwayError

#: What the ``type`` of every problem begins with; its code follows.
PROBLEM_TYPE: Final = "/docs/errors/"

#: Most faults that a problem lists: a mebibyte of JSON may have a hundred thousand.
MOST_FAULTS: Final = 100

#: Every code with its status and title.
PROBLEMS: Final[dict[str, tuple[int, str]]] = {
    "bad-request": (400, "Bad request"),
    "not-text": (400, "Body is not UTF-8 text"),
    "unauthorized": (401, "Authentication required"),
    "forbidden": (403, "Forbidden"),
    "not-found": (404, "Not found"),
    "method-not-allowed": (405, "Method not allowed"),
    "not-acceptable": (406, "No acceptable response type"),
    "request-timeout": (408, "Request timeout"),
    "length-required": (411, "Content-Length required"),
    "body-too-large": (413, "Body too large"),
    "uri-too-long": (414, "URI too long"),
    "unsupported-media-type": (415, "Unsupported media type"),
    "head-too-large": (431, "Headers too large"),
    "too-many-requests": (429, "Too many requests"),
    "not-implemented": (501, "Transfer coding not supported"),
    "unavailable": (503, "Service unavailable"),
    "not-json": (400, "Body is not JSON"),
    "not-gzip": (400, "Body is not gzip"),
    "body-incomplete": (400, "Incomplete body"),
    "line-too-large": (413, "Line too large"),
    "missing-field": (422, "Required field missing"),
    "unknown-field": (422, "Unknown field"),
    "wrong-type": (422, "Value of the wrong type"),
    "out-of-range": (422, "Value out of range"),
    "symbol-unreadable": (422, "Cannot read a chord symbol"),
    "chart-unreadable": (422, "Cannot read the chart"),
    "beats-do-not-fit": (422, "Chords do not fill their measure"),
    "measures-needed": (422, "Lengths of the chords required"),
    "format-unavailable": (422, "Format not available here"),
    "no-voicing": (422, "No playable voicing for a chord"),
    "pin-unplayable": (422, "Pin cannot be played"),
    "played-unreadable": (422, "Notes do not fit the chart"),
    "midi-unreadable": (422, "Cannot read the MIDI file"),
    "notes-needed": (422, "Number of notes required"),
    "search-too-large": (422, "Request too large to solve exactly"),
    "internal-error": (500, "Internal error"),
    "out-of-time": (503, "Time limit exceeded"),
}

#: What to change after out-of-time.
OUT_OF_TIME: Final = "fewer alternatives or notes, a narrower range, a shorter chart take less"


def fault_json(fault: Fault) -> dict[str, Any]:
    """One fault; what is not known of it is left out."""
    optional = {
        "position": fault.position,
        "line": fault.line,
        "column": fault.column,
        "expected": fault.expected,
    }
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
    """The problem of a core error; ``excluded`` counts the voicings that each rule rejected."""
    body = problem(error.code, error.detail, error.faults)
    if isinstance(error, NoVoicing) and error.excluded:
        body["excluded"] = dict(error.excluded)
    return body
