"""Many requests over the batches call: in windows, several at a time, answered in order.

Puts `_batch_lines` on the `_transport`, with a thread for each window. A client that sends
everything before it reads anything could wait for a service that waits for it, so a window is small
enough to be sent whole before its first answer is read. What a window still lacks when its answer
breaks off is asked for again; what has been answered is not.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterable, Iterator
from queue import SimpleQueue

from shortway_client import _batch_lines
from shortway_client._batch_lines import Line, PathRequestLike, PathResult
from shortway_client._transport import ALL_WAITS, Transport, is_passing
from shortway_client.errors import ConnectionFailed, ShortwayClientError

WINDOW = 256
"""Lines of one request at most."""
WINDOW_BYTES = 128 * 1024
"""Bytes of one request's lines at most; a line alone may have more."""


def windows(requests: Iterable[PathRequestLike]) -> Iterator[list[Line]]:
    """The lines of `requests` in windows; where they raise, what came before is given first."""
    held: list[Line] = []
    try:
        for index, request in enumerate(requests):
            line = _batch_lines.batch_line(index, request)
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


def solved(
    transport: Transport, requests: Iterable[PathRequestLike], workers: int
) -> Iterator[PathResult]:
    """A result for each request, in order; at most `workers` windows are read ahead.

    Where `requests` raise, the results of those before come first.
    """
    source, stopped = windows(requests), threading.Event()
    under_way: deque[_Window] = deque()
    failure: Exception | None = None
    more = True
    try:
        while more or under_way:
            while more and len(under_way) < workers:
                try:
                    under_way.append(_Window(transport, next(source), stopped))
                except StopIteration:
                    more = False
                except Exception as error:
                    more, failure = False, error
            if under_way:
                yield from under_way.popleft().results()
        if failure is not None:
            raise failure
    finally:
        stopped.set()


class _Window:
    """Lines on their way, in a thread that ends with them."""

    def __init__(self, transport: Transport, lines: list[Line], stopped: threading.Event) -> None:
        self._transport, self._lines, self._stopped = transport, lines, stopped
        self._answers: SimpleQueue[bytes | Exception] = SimpleQueue()
        threading.Thread(target=self._run, name="shortway-window", daemon=True).start()

    def results(self) -> Iterator[PathResult]:
        """What became of each line, as it comes."""
        for line in self._lines:
            answer = self._answers.get()
            if isinstance(answer, Exception):
                raise answer
            yield _batch_lines.read_batch_answer(line, answer)

    def _run(self) -> None:
        try:
            self._ask()
        except Exception as error:  # raised where the results are read
            self._answers.put(error)

    def _ask(self) -> None:
        """Ask until every line has its answer; patience begins anew with each answer."""
        missing, attempt, waited = self._lines, 0, 0.0
        while missing and not self._stopped.is_set():
            taken, error = self._attempt(missing)
            missing = missing[taken:]
            if error is None or not missing:
                continue
            attempt, waited = (0, 0.0) if taken else (attempt, waited)
            pause = self._transport.pause(attempt, getattr(error, "retry_after", None))
            attempt, waited = attempt + 1, waited + pause
            too_often = attempt > self._transport.retries or waited > ALL_WAITS
            if too_often or not is_passing(error):
                raise error
            self._transport.sleep(pause)

    def _attempt(self, lines: list[Line]) -> tuple[int, ShortwayClientError | None]:
        """How many of `lines` were answered, and what ended it if not all were."""
        taken = 0
        try:
            for raw in self._transport.lines(_batch_lines.batch(lines)):
                if self._stopped.is_set():
                    return taken, None
                if taken == len(lines) or _batch_lines.is_broken_off(raw):
                    break
                self._answers.put(raw)
                taken += 1
        except ShortwayClientError as error:
            return taken, error
        lacks = ConnectionFailed("the answer broke off") if taken < len(lines) else None
        return taken, lacks
