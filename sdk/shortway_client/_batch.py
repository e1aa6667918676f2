"""Many requests over the batches call: in windows, several at a time, answered in order.

Each window has a thread. A client that sends everything before it reads anything could wait for a
service that waits for it, so a window is small enough to be sent whole before its first answer is
read. Only the lines without an answer are sent again when a window's answer breaks off.
"""

from __future__ import annotations

import gzip
import threading
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from queue import Empty, SimpleQueue
from typing import Any

from shortway_client._codec import read_problem_details, read_voicing_path, to_json
from shortway_client._transport import ALL_WAITS, Transport, Waits, is_passing
from shortway_client._wire import JSONL, Answer, Request, bad_answer, converted, dump, load
from shortway_client.errors import ConnectionFailed, ShortwayClientError
from shortway_client.models import PathRequest, ProblemDetails, VoicingPath

PathRequestLike = PathRequest | Mapping[str, Any]

WINDOW = 256  # lines of one request at most
WINDOW_BYTES = 128 * 1024  # of one request at most; a line alone may have more
PACKED_FROM = 4096  # bytes from which the lines of a request are compressed
_BROKEN = (b'"code":"body-incomplete"', b'"code":"not-gzip"')


@dataclass(frozen=True, slots=True)
class PathResult:
    """The result of one of many requests: its path, or else the problem; `index` from 0."""

    index: int
    id: str
    path: VoicingPath | None = None
    problem: ProblemDetails | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """A request as a line: its number from 0, its id, and its JSON."""

    index: int
    id: str
    raw: bytes


def solved(
    transport: Transport, requests: Iterable[PathRequestLike], workers: int
) -> Iterator[PathResult]:
    """A result for each request, in order; at most `workers` windows are read ahead.

    If `requests` raises, the results of the requests before come first.
    """
    stopped = threading.Event()
    started = _started(transport, requests, stopped)
    try:
        under_way = deque(islice(started, workers))
        while under_way:
            first = under_way.popleft()
            if isinstance(first, Exception):
                raise first
            yield from first.results()
            under_way.extend(islice(started, 1))
    finally:
        stopped.set()


def _started(
    transport: Transport, requests: Iterable[PathRequestLike], stopped: threading.Event
) -> Iterator[_Window | Exception]:
    try:
        for lines in windows(requests):
            yield _Window(transport, lines, stopped)
    except Exception as error:  # raised after the results of the windows before
        yield error


def windows(requests: Iterable[PathRequestLike]) -> Iterator[list[Line]]:
    """The lines of `requests` in windows; if it raises, the lines before are given first."""
    held: list[Line] = []
    try:
        for index, request in enumerate(requests):
            line = batch_line(index, request)
            if held and sum(len(each.raw) for each in held) + len(line.raw) > WINDOW_BYTES:
                yield held
                held = []
            held.append(line)
            if len(held) == WINDOW:
                yield held
                held = []
    except Exception:
        if held:
            yield held
        raise
    if held:
        yield held


def batch_line(index: int, request: PathRequestLike) -> Line:
    """A request as a line; its id is its number if it has none.

    >>> batch_line(7, {"chart": "| Dm7 |"}).raw
    b'{"chart": {"text": "| Dm7 |"}, "id": "7"}'
    """
    given = request if isinstance(request, Mapping) else to_json(request)
    fields = {**given, "id": str(index) if given.get("id") is None else given["id"]}
    return Line(index, str(fields["id"]), dump(converted(fields)))


class _Window:
    """Lines on their way, in a thread that ends with them."""

    def __init__(self, transport: Transport, lines: list[Line], stopped: threading.Event) -> None:
        self._transport, self._lines, self._stopped = transport, lines, stopped
        self._answers: SimpleQueue[bytes | Exception] = SimpleQueue()
        threading.Thread(target=self._run, name="shortway-window", daemon=True).start()

    def results(self) -> Iterator[PathResult]:
        """The result of each line, as it comes."""
        for line in self._lines:
            try:
                answer = self._answers.get(timeout=self._transport.longest + ALL_WAITS)
            except Empty:
                raise self._transport.too_slow() from None
            if isinstance(answer, Exception):
                raise answer
            yield _read_answer(line, answer)

    def _run(self) -> None:
        try:
            self._ask()
        except Exception as error:  # raised where the results are read
            self._answers.put(error)

    def _ask(self) -> None:
        """Ask until every line has its answer; each answer resets the retries."""
        missing, waits = self._lines, Waits(self._transport)
        while missing and not self._stopped.is_set():
            taken, error = self._attempt(missing)
            missing = missing[taken:]
            if error is None or not missing:
                continue
            waits = Waits(self._transport) if taken else waits
            if not (is_passing(error) and waits.wait(getattr(error, "retry_after", None))):
                raise error

    def _attempt(self, lines: list[Line]) -> tuple[int, ShortwayClientError | None]:
        """The number of `lines` that were answered, and the error that ended it, if any."""
        taken = 0
        try:
            for raw in self._transport.lines(_batch(lines)):
                if self._stopped.is_set():
                    return taken, None
                if taken == len(lines) or _is_broken_off(raw):
                    break
                self._answers.put(raw)
                taken += 1
        except ShortwayClientError as error:
            return taken, error
        return taken, ConnectionFailed("the answer broke off") if taken < len(lines) else None


def _batch(lines: Sequence[Line]) -> Request:
    headers = {"Accept": JSONL, "Content-Type": JSONL, "Accept-Encoding": "gzip"}
    body = b"".join(line.raw + b"\n" for line in lines)
    if len(body) > PACKED_FROM:
        body = gzip.compress(body, 1)
        headers["Content-Encoding"] = "gzip"
    return Request("POST", "v1/batches", headers, body)


def _is_broken_off(raw: bytes) -> bool:
    """Whether an answer's line says that the lines did not all arrive."""
    return raw.startswith(b'{"id":null,') and any(code in raw for code in _BROKEN)


def _read_answer(line: Line, raw: bytes) -> PathResult:
    answer = Answer(200, {}, raw)
    content = load(answer)
    if not isinstance(content, dict) or content.get("id", "") not in (line.id, None):
        raise bad_answer(f"not the answer to the line {line.id!r}", answer)
    if content.get("problem") is not None:
        problem = read_problem_details(content["problem"], "/problem")
        return PathResult(line.index, line.id, problem=problem)
    return PathResult(line.index, line.id, read_voicing_path(content.get("path"), "/path"))
