"""Lines of a batch and their answers; pure, as `_wire` is."""

from __future__ import annotations

import gzip
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from shortway_client._codec import read_path, read_problem_details, to_json
from shortway_client._wire import JSONL, Answer, Request, bad_answer, converted, dump, load
from shortway_client.models import Path, PathRequest, ProblemDetails

PathRequestLike = PathRequest | Mapping[str, Any]
PACKED_FROM = 4096
"""Bytes from which the lines of a batch are packed."""
_BROKEN = (b'"code":"body-incomplete"', b'"code":"not-gzip"')


@dataclass(frozen=True, slots=True)
class PathResult:
    """What became of one of many requests: its path, or else the problem; `index` from 0."""

    index: int
    id: str
    path: Path | None = None
    problem: ProblemDetails | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """A request on its way: its number from 0, its id, and its JSON."""

    index: int
    id: str
    raw: bytes


def batch_line(index: int, request: PathRequestLike) -> Line:
    """A request as a line; its id is its number where it has none.

    >>> batch_line(7, {"chart": "| Dm7 |"}).raw
    b'{"chart": "| Dm7 |", "id": "7"}'
    """
    given = request if isinstance(request, Mapping) else to_json(request)
    fields = {**given, "id": str(index) if given.get("id") is None else given["id"]}
    return Line(index, str(fields["id"]), dump(converted(fields)))


def batch(lines: Sequence[Line]) -> Request:
    """Ask for the paths of `lines`; what is not small goes packed."""
    headers = {"Accept": JSONL, "Content-Type": JSONL, "Accept-Encoding": "gzip"}
    body = b"".join(line.raw + b"\n" for line in lines)
    if len(body) > PACKED_FROM:
        body = gzip.compress(body, 1)
        headers["Content-Encoding"] = "gzip"
    return Request("POST", "v1/batches", headers, body)


def is_broken_off(raw: bytes) -> bool:
    """Whether an answer's line says that the lines did not all arrive."""
    return raw.startswith(b'{"id":null,') and any(code in raw for code in _BROKEN)


def read_batch_answer(line: Line, raw: bytes) -> PathResult:
    """What became of `line`.

    Raises
    ------
    BadAnswer
        `raw` is not the answer to it.
    """
    answer = Answer(200, {}, raw)
    said = load(answer)
    if not isinstance(said, dict) or said.get("id", "") not in (line.id, None):
        raise bad_answer(f"not the answer to the line {line.id!r}", answer)
    if "problem" in said:
        problem = read_problem_details(said["problem"], "/problem")
        return PathResult(line.index, line.id, problem=problem)
    return PathResult(line.index, line.id, read_path(said.get("path"), "/path"))
