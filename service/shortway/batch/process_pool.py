"""Chunks answered on this machine: in this process, or in several.

Knows chunks and processes. Answers come in the order of the chunks and no more than a few chunks
are under way, so that memory does not grow with the input. Each worker has a pipe of its own and
shares no lock with another, so that one that is killed, at whatever moment, can hold up nobody. A
worker ends with the process that started it, whatever ended that; a line that ends its worker is
answered as a failure.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from multiprocessing.connection import Connection
from queue import LifoQueue
from typing import Any, Final, Protocol, TypeVar

from shortway.batch import lines
from shortway.batch.chunks import Chunk, ChunkResult, Task, answer_chunk, collect_lines
from shortway.batch.errors import Stopped
from shortway.core.cache import limit_budgets
from shortway.core.errors import Fault

T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)

Answered = Generator[tuple[Chunk, ChunkResult], None, None]

AHEAD: Final = 4
"""Chunks under way for each worker."""

BUDGETS: Final = {
    "moves": 8 << 20, "edges": 6 << 20, "candidates": 16 << 20, "near pairs": 32 << 20,
    "voicings": 3 << 20, "wire": 3 << 20, "nodes": 2 << 20, "from home": 1 << 20,
    "batch answers": 4 << 20, "under a melody": 2 << 20,
}  # fmt: skip
"""Bytes that a worker's caches may take, where a service's take more: so the memory of a batch
stays as it is after the first thousand charts."""

STARTS: Final = 5
"""Times that a worker may be lost before it has begun anything; then something is wrong here."""

_CONTEXT: Final = multiprocessing.get_context("spawn")


class Future(Protocol[T_co]):
    """A future of whatever makes."""

    def result(self) -> T_co:
        """The value, once it is there."""


def submit_in_order(
    chunks: Iterable[Chunk], submit: Callable[[Chunk], Future[T_co]], most: int
) -> Iterator[tuple[Chunk, Future[T_co]]]:
    """Each chunk with its future, in order, when it is its turn; at most `most` are under way."""
    under_way: deque[tuple[Chunk, Future[T_co]]] = deque()
    for chunk in chunks:
        if len(under_way) == most:
            yield under_way.popleft()
        under_way.append((chunk, submit(chunk)))
    yield from under_way


def run_in_process(task: Task, chunks: Iterable[Chunk]) -> Answered:
    """Answers worked out in this process."""
    limit_budgets(BUDGETS)
    return ((chunk, answer_chunk(task, chunk)) for chunk in chunks)


def run_in_pool(task: Task, chunks: Iterable[Chunk], workers: int) -> Answered:
    """Answers worked out in `workers` processes, in the order of the chunks."""
    pool = ProcessPool(workers)
    threads = ThreadPoolExecutor(workers)
    try:
        for chunk, future in submit_in_order(
            chunks,
            lambda chunk: threads.submit(answer_with_retry, pool, task, chunk),
            AHEAD * workers,
        ):
            yield chunk, future.result()
    finally:
        pool.close()
        threads.shutdown(cancel_futures=True)


def answer_with_retry(pool: ProcessPool, task: Task, chunk: Chunk) -> ChunkResult:
    """Answers to a chunk.

    If it loses its process it gets another one; if it loses that, too, each line gets its own, and
    the one that ends it is a failure.
    """
    for _ in range(2):
        with suppress(WorkerLost):
            return pool.call(answer_chunk, task, chunk)
    numbered = enumerate(chunk.lines, chunk.first)
    return collect_lines(task, (_line(pool, task, n, text) for n, text in numbered if text.strip()))


def _line(pool: ProcessPool, task: Task, number: int, text: bytes) -> bytes:
    try:
        return pool.call(lines.answer_line, text, number, task.setting)
    except WorkerLost:
        return lines.line_problem(
            number, "internal-error", Fault("", "the process that worked on this line was ended")
        )


# --- processes that may be killed ----------------------------------------------------------------


class WorkerLost(Exception):
    """The process that worked on a call has ended without an answer."""


class ProcessPool:
    """At most `workers` processes, each started when it is needed and another when it is lost.

    As many threads may call at once. A thread has a worker to itself while it calls.
    """

    def __init__(self, workers: int) -> None:
        self._closed = False
        self._lock = threading.Lock()
        self._alive: set[_Worker] = set()
        self._idle: LifoQueue[_Worker | None] = LifoQueue()
        for _ in range(workers):
            self._idle.put(None)

    def call(self, function: Callable[..., T], *arguments: Any) -> T:
        """What `function` gives, or raises, in a worker.

        Raises
        ------
        Lost
            The worker was ended meanwhile.
        Stopped
            The pool is closed, or no worker gets as far as beginning.
        """
        worker = self._idle.get()
        try:
            if worker is None:
                worker = self._started()
            found: T = worker.call(function, arguments)
            return found
        except WorkerLost:
            self._end(worker)
            worker = None
            raise
        finally:
            self._idle.put(worker)

    def close(self) -> None:
        """End the workers, whatever they do; their callers find them lost."""
        with self._lock:
            self._closed = True
            alive, self._alive = self._alive, set()
        for worker in alive:
            worker.kill()

    def _started(self) -> _Worker:
        for _ in range(STARTS):
            worker = _Worker()
            with self._lock:
                closed = self._closed
                self._alive.add(worker)
            if closed:
                self._end(worker)
                break
            if worker.ready():
                return worker
            self._end(worker)
        raise Stopped("the processes that should work end before they have begun")

    def _end(self, worker: _Worker | None) -> None:
        if worker is not None:
            with self._lock:
                self._alive.discard(worker)
            worker.kill()


class _Worker:
    """One process and this end of the pipe to it: one call at a time."""

    def __init__(self) -> None:
        self._pipe, far = _CONTEXT.Pipe()
        self._process = _CONTEXT.Process(target=_work, args=(far,), daemon=True)
        self._process.start()
        far.close()  # so that the process alone holds it, and its end is the end of the pipe

    def ready(self) -> bool:
        """Wait until it has begun; False if it has ended instead."""
        try:
            return bool(self._pipe.recv())
        except (EOFError, OSError):
            return False

    def call(self, function: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
        try:
            self._pipe.send((function, arguments))
            done, value = self._pipe.recv()
        except (EOFError, OSError):
            raise WorkerLost from None
        if not done:
            raise value
        return value

    def kill(self) -> None:
        self._process.kill()
        self._process.join()


def _work(pipe: Connection) -> None:
    """In a worker: answer calls until nobody asks any more."""
    _settle()
    with suppress(EOFError, OSError):
        pipe.send(True)
        while True:
            function, arguments = pipe.recv()
            pipe.send(_outcome(function, arguments))


def _outcome(function: Callable[..., Any], arguments: tuple[Any, ...]) -> tuple[bool, Any]:
    try:
        return True, function(*arguments)
    except Exception as error:
        return False, error


def _settle() -> None:
    """In a worker: leave Ctrl-C to the one that started it, and end when that one has ended."""
    limit_budgets(BUDGETS)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: Any) -> None:
    parent.join()
    os._exit(1)
