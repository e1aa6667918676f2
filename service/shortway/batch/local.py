"""Chunks answered on this machine: in this process, or in several.

Knows chunks and processes. Answers come in the order of the chunks and no more than a few chunks
are under way, so that memory does not grow with the input. A worker ends with the process that
started it, whatever ended that; a line that ends its worker is answered as a failure.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any, Final, Protocol, TypeVar

from shortway.batch import lines
from shortway.batch.chunks import Answers, Chunk, Task, answer, gathered
from shortway.core.cache import limit
from shortway.core.errors import Fault

T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)

Answered = Generator[tuple[Chunk, Answers], None, None]

AHEAD: Final = 4
"""Chunks under way for each worker."""

BUDGETS: Final = {
    "moves": 8 << 20, "edges": 6 << 20, "candidates": 16 << 20, "near pairs": 32 << 20,
    "voicings": 3 << 20, "wire": 3 << 20, "nodes": 2 << 20, "from home": 1 << 20,
    "batch answers": 4 << 20,
}  # fmt: skip
"""Bytes that a worker's caches may take, where a service's take more: so the memory of a batch
stays as it is after the first thousand charts."""

_CONTEXT: Final = multiprocessing.get_context("spawn")


class Waiting(Protocol[T_co]):
    """A future of whatever makes."""

    def result(self) -> T_co:
        """The value, once it is there."""


def in_order(
    chunks: Iterable[Chunk], submit: Callable[[Chunk], Waiting[T_co]], most: int
) -> Iterator[tuple[Chunk, Waiting[T_co]]]:
    """Each chunk with its future, in order, when it is its turn; at most `most` are under way."""
    under_way: deque[tuple[Chunk, Waiting[T_co]]] = deque()
    for chunk in chunks:
        if len(under_way) == most:
            yield under_way.popleft()
        under_way.append((chunk, submit(chunk)))
    yield from under_way


def here(task: Task, chunks: Iterable[Chunk]) -> Answered:
    """Answers worked out in this process."""
    limit(BUDGETS)
    return ((chunk, answer(task, chunk)) for chunk in chunks)


def processes(task: Task, chunks: Iterable[Chunk], workers: int) -> Answered:
    """Answers worked out in `workers` processes, in the order of the chunks."""
    pools = _Pools(task, workers)
    try:
        for chunk, future in in_order(chunks, pools.submit, AHEAD * workers):
            yield chunk, pools.result(chunk, future)
    finally:
        pools.pool.shutdown(wait=False, cancel_futures=True)


class _Pools:
    """A pool of processes, and another one in its place when one of them is ended from outside."""

    def __init__(self, task: Task, workers: int) -> None:
        self.task, self.workers = task, workers
        self.pool = _pool(workers)

    def submit(self, chunk: Chunk) -> Waiting[Answers]:
        try:
            return self.pool.submit(answer, self.task, chunk)
        except BrokenProcessPool:
            self.pool = _pool(self.workers)
            return self.pool.submit(answer, self.task, chunk)

    def result(self, chunk: Chunk, future: Waiting[Answers]) -> Answers:
        try:
            return future.result()
        except BrokenProcessPool:
            return alone(self.task, chunk)


def alone(task: Task, chunk: Chunk) -> Answers:
    """Answers to a chunk that lost its process, worked out in one of its own.

    If that one is lost, too, each line gets its own, and the one that ends it is a failure.
    """
    try:
        return _once(answer, task, chunk)
    except BrokenProcessPool:
        numbered = enumerate(chunk.lines, chunk.first)
        return gathered(task, (_line(task, n, text) for n, text in numbered if text.strip()))


def _line(task: Task, number: int, text: bytes) -> bytes:
    try:
        return _once(lines.answer, text, number, task.setting)
    except BrokenProcessPool:
        return lines.refusal(
            number, "internal-error", Fault("", "the process that worked on this line was ended")
        )


def _once(call: Callable[..., T], *arguments: Any) -> T:
    with _pool(1) as pool:
        return pool.submit(call, *arguments).result()


def _pool(workers: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(workers, _CONTEXT, _settle)


def _settle() -> None:
    """In a worker: leave Ctrl-C to the one that started it, and end when that one has ended."""
    limit(BUDGETS)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: Any) -> None:
    parent.join()
    os._exit(1)
