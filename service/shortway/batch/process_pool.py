"""Chunks answered on this machine: in this process, or in several.

Knows chunks and processes. Answers come in the order of the chunks, and few chunks are in progress
at a time, so memory does not grow with the input. Each worker has its own pipe and shares no lock,
so a worker that is killed cannot block another. A worker exits with the process that started it. A
line that kills its worker is answered with an error.
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
from shortway.core.cache import set_budget, shared_budget
from shortway.core.errors import Fault
from shortway.garbage_collection import shorten_collections

T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)

Answered = Generator[tuple[Chunk, ChunkResult], None, None]

AHEAD: Final = 4
"""Chunks in progress for each worker."""

STARTS: Final = 5
"""Times that a worker may exit before it is ready; then the batch stops."""

_CONTEXT: Final = multiprocessing.get_context("spawn")


class Future(Protocol[T_co]):
    """A future of any executor."""

    def result(self) -> T_co:
        """Wait for the value."""


def submit_in_order(
    chunks: Iterable[Chunk], submit: Callable[[Chunk], Future[T_co]], most: int
) -> Iterator[tuple[Chunk, Future[T_co]]]:
    """Each chunk with its future, in order; at most `most` are in progress."""
    under_way: deque[tuple[Chunk, Future[T_co]]] = deque()
    for chunk in chunks:
        if len(under_way) == most:
            yield under_way.popleft()
        under_way.append((chunk, submit(chunk)))
    yield from under_way


def run_in_process(task: Task, chunks: Iterable[Chunk]) -> Answered:
    """Answer the chunks in this process."""
    return ((chunk, answer_chunk(task, chunk)) for chunk in chunks)


def run_in_pool(task: Task, chunks: Iterable[Chunk], workers: int) -> Answered:
    """Answer the chunks in `workers` processes, in order."""
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
    """Answers to a chunk, retried once if its process exits.

    If that exits too, each line gets a process of its own, and a line that kills it is a failure.
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
    """The process of a call exited without an answer."""


class ProcessPool:
    """At most `workers` processes, started when needed and replaced when lost.

    As many threads may call at once; each call has a worker to itself.
    """

    def __init__(self, workers: int) -> None:
        self._closed = False
        self._lock = threading.Lock()
        self._alive: set[_Worker] = set()
        self._idle: LifoQueue[_Worker | None] = LifoQueue()
        for _ in range(workers):
            self._idle.put(None)

    def call(self, function: Callable[..., T], *arguments: Any) -> T:
        """The result of `function` in a worker, or what it raises there.

        Raises WorkerLost if the worker exited meanwhile; Stopped if the pool is closed, or no
        worker gets ready.
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
        """Kill the workers; calls in progress raise WorkerLost."""
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
        raise Stopped("the worker processes exit before they are ready")

    def _end(self, worker: _Worker | None) -> None:
        if worker is not None:
            with self._lock:
                self._alive.discard(worker)
            worker.kill()


class _Worker:
    """One process and this end of the pipe to it: one call at a time."""

    def __init__(self) -> None:
        self._pipe, far = _CONTEXT.Pipe()
        self._process = _CONTEXT.Process(target=_work, args=(far, shared_budget()), daemon=True)
        mask = signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGINT])
        try:
            self._process.start()  # it inherits the mask, and so never hears Ctrl-C
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        far.close()  # so that the process alone holds it, and its end is the end of the pipe

    def ready(self) -> bool:
        """Wait until it is ready; False if it exited instead."""
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


def _work(pipe: Connection, budget: int) -> None:
    """In a worker: answer calls until the pipe is closed, with caches of `budget` bytes in all."""
    set_budget(budget)
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
    """In a worker: short collections, and exit when the parent process exits."""
    shorten_collections()
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: Any) -> None:
    parent.join()
    os._exit(1)
