"""Sends requests at their time, whatever became of those before, and notes what comes.

Knows HTTP/1.1 as far as the service speaks it (answers have a Content-Length), and no noun. A
latency begins when its request was due, not when it was sent, so that a service (or this program)
that stalls is charged for all who would have waited (no coordinated omission).
"""

from __future__ import annotations

import asyncio
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import islice

#: Seconds that an answer may take.
PATIENCE = 30.0
#: Connections at once; a request that is due beyond them counts as an error.
MOST_CONNECTIONS = 4_000
REFUSED, CUT, LATE, CROWDED = "refused", "cut", "late", "crowded"


@dataclass(slots=True)
class Outcome:
    """What became of a request: seconds since it was due; a status, or what went wrong."""

    kind: int
    seconds: float
    status: int | str
    retry_after: bool = False
    size: int = 0


@dataclass
class Run:
    """What became of all, and how late this program itself was with sending."""

    outcomes: list[Outcome] = field(default_factory=list)
    lateness: list[float] = field(default_factory=list)
    seconds: float = 0.0
    processor: float = 0.0


class Line(asyncio.Protocol):
    """One connection, with one request at a time."""

    def __init__(self, lines: Lines) -> None:
        self.lines = lines
        self.transport: asyncio.Transport | None = None
        self.busy: tuple[int, float, bytes] | None = None
        self.held = b""
        self.used = False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport

    def send(self, kind: int, due: float, request: bytes) -> None:
        """Send a request that was `due`."""
        assert self.transport is not None
        self.busy, self.held = (kind, due, request), b""
        self.transport.write(request)

    def data_received(self, data: bytes) -> None:
        self.held = self.held + data if self.held else data
        head, mark, body = self.held.partition(b"\r\n\r\n")
        if not mark or self.busy is None:
            return
        head = head.lower()
        length = int(head.partition(b"content-length: ")[2].partition(b"\r\n")[0] or 0)
        if len(body) >= length:
            kind, due, _ = self.busy
            retry = b"retry-after: " in head
            late = time.perf_counter() - due
            self.lines.ended(Outcome(kind, late, int(head[9:12]), retry, length))
            self.busy, self.used = None, True
            if b"connection: close" in head:
                self.transport.close()  # type: ignore[union-attr]
            else:
                self.lines.free.append(self)

    def connection_lost(self, error: Exception | None) -> None:
        self.lines.gone(self)


class Lines:
    """All connections to one address."""

    def __init__(self, port: int, run: Run) -> None:
        self.port, self.run = port, run
        self.free: list[Line] = []
        self.open: set[Line] = set()
        self._opening: set[asyncio.Future[None]] = set()
        self.waiting = 0
        self.answered = asyncio.Event()

    def send(self, kind: int, due: float, request: bytes) -> None:
        """Over a free connection, else over a new one."""
        self.waiting += 1
        self.run.lateness.append(time.perf_counter() - due)
        if self.free:
            self.free.pop().send(kind, due, request)
        elif len(self.open) + len(self._opening) < MOST_CONNECTIONS:
            self._connect(kind, due, request)
        else:
            self.ended(Outcome(kind, 0.0, CROWDED))

    def _connect(self, kind: int, due: float, request: bytes) -> None:
        opening = asyncio.ensure_future(self._sent_anew(kind, due, request))
        self._opening.add(opening)
        opening.add_done_callback(self._opening.discard)

    async def _sent_anew(self, kind: int, due: float, request: bytes) -> None:
        loop = asyncio.get_running_loop()
        try:
            _, line = await loop.create_connection(lambda: Line(self), "127.0.0.1", self.port)
        except OSError:
            self.ended(Outcome(kind, time.perf_counter() - due, REFUSED))
            return
        self.open.add(line)
        line.send(kind, due, request)

    def ended(self, outcome: Outcome) -> None:
        """Note what became of a request."""
        self.waiting -= 1
        self.run.outcomes.append(outcome)
        self.answered.set()

    def gone(self, line: Line) -> None:
        """A connection has closed; a request on one that had idled goes over a new one."""
        self.open.discard(line)
        if line in self.free:
            self.free.remove(line)
        if line.busy is not None:
            kind, due, request = line.busy
            if line.used and not line.held:
                self._connect(kind, due, request)
            else:
                self.ended(Outcome(kind, time.perf_counter() - due, CUT))

    async def rest(self) -> None:
        """Wait for what is under way, as long as patience lasts; then close."""
        until = time.perf_counter() + PATIENCE
        while self.waiting and time.perf_counter() < until:
            await asyncio.sleep(0.05)
        for line in list(self.open):
            if line.busy is not None:
                self.ended(Outcome(line.busy[0], time.perf_counter() - line.busy[1], LATE))
                line.busy = None
            assert line.transport is not None
            line.transport.abort()
        await asyncio.sleep(0)


async def _at_rate(port: int, due: list[float], requests: list[tuple[int, bytes]]) -> Run:
    run = Run()
    lines = Lines(port, run)
    start, used = time.perf_counter() + 0.05, time.process_time()
    for at, (kind, request) in zip(due, requests, strict=True):
        while (left := start + at - time.perf_counter()) > 0:
            await asyncio.sleep(left)
        lines.send(kind, start + at, request)
        await asyncio.sleep(0)
    run.seconds = time.perf_counter() - start
    run.processor = time.process_time() - used
    await lines.rest()
    return run


def at_rate(
    port: int, rate: float, seconds: float, requests: Iterator[tuple[int, bytes]], seed: int = 1
) -> Run:
    """Drive at `rate` requests a second, which come as independent people's do (Poisson)."""
    draw, at, due = random.Random(seed), 0.0, []
    while (at := at + draw.expovariate(rate)) < seconds:
        due.append(at)
    return asyncio.run(_at_rate(port, due, list(islice(requests, len(due)))))


async def _in_turn(port: int, people: int, requests: list[tuple[int, bytes]], most: float) -> Run:
    run = Run()
    lines = Lines(port, run)
    start, used = time.perf_counter(), time.process_time()
    for kind, request in requests:
        while lines.waiting >= people:
            lines.answered.clear()
            await asyncio.wait_for(lines.answered.wait(), PATIENCE)
        if time.perf_counter() - start > most:
            break
        lines.send(kind, time.perf_counter(), request)
    await lines.rest()
    run.seconds = time.perf_counter() - start
    run.processor = time.process_time() - used
    return run


def in_turn(port: int, people: int, requests: list[tuple[int, bytes]], most: float = 1e9) -> Run:
    """Drive so that `people` wait at any time, each asking again when answered, for `most` s."""
    return asyncio.run(_in_turn(port, people, requests, most))
