"""One line of a batch: JSON in, JSON out, and nothing raised.

Knows the wire. A line is a paths request with a string ``id``; its answer is
``{"id" or null,"line","path" or null,"problem" or null}``. The path of a request that comes a
second time, whatever its id, is cached: most charts of a large collection come once.
"""

import logging
from collections.abc import Mapping, Sequence
from hashlib import sha256
from typing import Any, Final

import orjson

from shortway.core.cache import Cache, Memo, compact
from shortway.core.cancellation import Cancelled
from shortway.core.errors import Fault, ShortwayError
from shortway.request_trace import PARSE, RENDERING, phase
from shortway.services.solve_path import solve_path
from shortway.wire.problems import OUT_OF_TIME, problem, problem_json
from shortway.wire.schemas.batches import BatchLineSchema
from shortway.wire.serializers.paths import path_parts
from shortway.wire.strict_json import NotJson, read_json
from shortway.wire.validation import validated

MAX_LINE: Final = 1024 * 1024
"""Bytes of one line, its end not counted."""
MEMORY: Final = 8 * 1024 * 1024
"""Bytes of the answers that one process caches."""
_OVERHEAD: Final = 300

#: ``"path"`` or ``"problem"``, and its JSON in parts.
Outcome = tuple[str, list[bytes]]

_log = logging.getLogger("shortway.batch")
_LINE: Final = BatchLineSchema()
_answers: Cache[bytes, Outcome] = Cache(
    "batch answers", MEMORY, lambda outcome: sum(map(len, outcome[1])) + _OVERHEAD
)
#: Requests that came, each with an object of its own.
_requests: Memo[bytes, object] = Memo("batch requests", 2 << 20, lambda _: 0)


def answer_line(line: bytes, number: int, setting: Mapping[str, Any] | None = None) -> bytes:
    """The answer to one line, as JSON without an end of line.

    Parameters
    ----------
    line : bytes
        With or without its end of line; not blank.
    number : int
        Its number from 1, blank lines counted.
    setting : mapping, optional
        The default setting of a request without one.

    >>> answer_line(b'{"id": "a", "chart": {"text": "| Wm7 |"}}', 3)[:46]
    b'{"id":"a","line":3,"path":null,"problem":{"typ'
    """
    if len(line) > MAX_LINE + 2 or len(line.rstrip(b"\r\n")) > MAX_LINE:
        return line_too_large(number)
    try:
        with phase(PARSE):
            request = read_json(line, "the line")
    except NotJson as error:
        return line_problem(number, "not-json", error.fault)
    name = request.get("id") if isinstance(request, dict) else None
    if not isinstance(name, str):
        return _told(None, number, *_outcome(request))
    own = request if request.get("setting") is not None else {**request, "setting": setting}
    return _told(name, number, *_outcome({**own, "id": ""}))


def line_too_large(number: int) -> bytes:
    """The answer to a line over `MAX_LINE`."""
    return line_problem(number, "line-too-large", Fault("", "the line is longer than 1 MiB"))


def line_problem(number: int, code: str, fault: Fault) -> bytes:
    """The answer to a line that cannot be read, or whose worker was lost."""
    return _told(None, number, "problem", _problem(code, fault.detail, (fault,)))


def _problem(code: str, detail: str, faults: Sequence[Fault] = ()) -> list[bytes]:
    return [orjson.dumps(problem(code, detail, faults))]


def _told(name: str | None, number: int, kind: str, said: list[bytes]) -> bytes:
    path, found = (said, [b"null"]) if kind == "path" else ([b"null"], said)
    head = b'{"id":%b,"line":%d,"path":' % (orjson.dumps(name), number)
    return b"".join([head, *path, b',"problem":', *found, b"}"])


def _outcome(request: Any) -> Outcome:
    """The outcome of a request; a path is cached the second time.

    An unexpected exception is logged, and the answer does not show it.
    """
    key, now = _key(request), object()
    try:
        found = _answers.find(key)
        if found is None:
            again = _requests.recall(key, lambda: now) is not now
            found = kind, said = _solve(request)
            if again and kind == "path":  # a problem depends on the order of the fields
                _answers.put(key, (kind, [b"".join(said)]))
        return found
    except Cancelled:
        return "problem", _problem("out-of-time", f"this takes too long: {OUT_OF_TIME}")
    except Exception:
        _log.exception("unexpected exception in a batch")
        return "problem", _problem("internal-error", "Something went wrong here; it is noted.")


def _key(request: Any) -> bytes:
    """A key that is equal for equal JSON values only, in whatever order their fields are."""
    try:
        text = orjson.dumps(request, option=orjson.OPT_SORT_KEYS)
    except orjson.JSONEncodeError:  # an integer of more than 64 bits, or nested deep
        text = repr(request).encode()
    return sha256(text).digest()


def _solve(request: Any) -> Outcome:
    try:
        with phase(PARSE):
            checked = validated(_LINE, request)
        path = solve_path(checked)
        with phase(RENDERING):
            return "path", path_parts(path, checked["level"])
    except ShortwayError as error:
        return "problem", [compact(orjson.dumps(problem_json(error)))]
