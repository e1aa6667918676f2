"""Chunks of lines, as they are sent to a process or a cluster, and their results.

Knows lines and the standard library, neither files nor processes. The split depends on the input
alone, so a resumed batch has the same chunks as one that was never stopped.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import orjson
from isal import isal_zlib

from shortway import __version__
from shortway.batch import lines
from shortway.batch.errors import Stopped

MOST_LINES: Final = 64
"""Lines of a chunk, about a tenth of a second of work."""

MOST_BYTES: Final = 64 * 1024
"""Bytes at which a chunk is closed, so that its answers do not grow too large."""

PACKING: Final = 2
"""ISA-L's level: a fourteenth of the time of zlib's level 6, and 1.7 times its bytes."""
_GZIP: Final = 31  # zlib's number for a gzip member with a window of 32 KiB


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the input."""

    #: Without its line break; blank lines are kept, because they are numbered.
    text: bytes
    #: Where the next line begins: bytes of JSON Lines (uncompressed), rows of a table.
    offset: int
    #: Share of the input that is read by then, 0 to 1.
    share: float


@dataclass(frozen=True, slots=True)
class Chunk:
    """Successive lines of the input; `first` is the number of the first one, from 1."""

    first: int
    lines: tuple[bytes, ...]
    offset: int
    share: float

    @property
    def last(self) -> int:
        """The number of the last line."""
        return self.first + len(self.lines) - 1


@dataclass(frozen=True, slots=True)
class Task:
    """How lines are answered."""

    #: The default setting of lines without one.
    setting: Mapping[str, Any] | None = None
    #: Whether the answers are one gzip member.
    packed: bool = False
    #: The service's version; a cluster worker with another version fails.
    version: str = __version__


@dataclass(frozen=True, slots=True)
class Counts:
    """Numbers of charts by outcome."""

    solved: int = 0
    refused: int = 0
    failed: int = 0

    def __add__(self, other: Counts) -> Counts:
        """Both together."""
        return Counts(
            self.solved + other.solved, self.refused + other.refused, self.failed + other.failed
        )

    @property
    def total(self) -> int:
        """All charts answered."""
        return self.solved + self.refused + self.failed

    def __str__(self) -> str:
        """The summary that the command prints."""
        return f"solved {self.solved:,}, refused {self.refused:,}, failed {self.failed:,}"


@dataclass(frozen=True, slots=True)
class ChunkResult:
    """The answer lines of one chunk, as bytes of the output, and their counts."""

    data: bytes
    counts: Counts


def split_into_chunks(read: Iterable[Line], after: int) -> Iterator[Chunk]:
    """Lines as chunks of at most `MOST_LINES`, closed earlier at `MOST_BYTES`.

    `after`: lines of the input before the first of these.

    >>> [(chunk.first, chunk.last) for chunk in split_into_chunks([Line(b"{}", 3, 0.5)] * 65, 0)]
    [(1, 64), (65, 65)]
    """
    held: list[Line] = []
    size = 0
    for line in read:
        held.append(line)
        size += len(line.text)
        if len(held) == MOST_LINES or size >= MOST_BYTES:
            yield _chunk(held, after)
            after += len(held)
            held, size = [], 0
    if held:
        yield _chunk(held, after)


def _chunk(held: list[Line], after: int) -> Chunk:
    texts = tuple(line.text for line in held)
    return Chunk(after + 1, texts, held[-1].offset, held[-1].share)


# --- the work ------------------------------------------------------------------------------------

_SOLVED: Final = re.compile(rb'\{"id":(?:null|"(?:[^"\\]|\\.)*"),"line":\d+,"path":\{')
_SERVER_FAULT: Final = 500


def answer_chunk(task: Task, chunk: Chunk) -> ChunkResult:
    """Every line of a chunk answered, in order; blank lines are skipped.

    Raises Stopped if this process has another version than the one that started the batch.

    >>> chunk = Chunk(1, (b'{"id": "a", "chart": {"text": "| C |"}}', b"", b"[]"), 0, 1.0)
    >>> answer_chunk(Task(), chunk).counts
    Counts(solved=1, refused=1, failed=0)
    """
    if task.version != __version__:
        raise Stopped(f"a worker has Shortway {__version__}, this is {task.version}")
    numbered = enumerate(chunk.lines, chunk.first)
    return collect_lines(
        task, (lines.answer_line(text, n, task.setting) for n, text in numbered if text.strip())
    )


def collect_lines(task: Task, answers: Iterable[bytes]) -> ChunkResult:
    """Answer lines as bytes of the output, with their counts."""
    said = list(answers)
    data = b"\n".join([*said, b""])
    if task.packed and data:
        data = isal_zlib.compress(data, PACKING, _GZIP)
    return ChunkResult(data, sum(map(count_line, said), Counts()))


def count_line(line: bytes) -> Counts:
    """The outcome of one chart, from its answer line.

    >>> count_line(b'{"id":"a","line":1,"path":{},"problem":null}')
    Counts(solved=1, refused=0, failed=0)
    """
    if _SOLVED.match(line):
        return Counts(solved=1)
    failed = orjson.loads(line)["problem"]["status"] >= _SERVER_FAULT
    return Counts(failed=1) if failed else Counts(refused=1)
