"""A batch as a stream: pieces of bytes in, answered lines out, one line held at a time.

Knows lines and gzip; no socket. A line that is too long is skipped without being held, and gzipped
input is decompressed a block at a time.
"""

import zlib
from collections.abc import Callable, Iterable, Iterator
from math import inf
from time import monotonic
from typing import Final, NamedTuple

from isal import isal_zlib

from shortway.batch.lines import MAX_LINE, answer_line, line_problem, line_too_large
from shortway.core.errors import Fault

BLOCK: Final = 65_536
"""Bytes that are decompressed at a time."""
_GZIP: Final = zlib.MAX_WBITS + 16


class IncompleteInput(Exception):
    """The rest of the input cannot be read; `code` is the problem of the batch's last line."""

    def __init__(self, code: str, detail: str) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail


class Limits(NamedTuple):
    """What a batch may have in all: lines, uncompressed bytes, and seconds."""

    lines: float = inf
    size: float = inf
    seconds: float = inf

    def check(self, lines: int, size: int, seconds: float) -> None:
        """Raise IncompleteInput for a batch that has more."""
        if lines > self.lines:
            detail = f"the batch has more than {self.lines:,} lines; send the rest in another"
            raise IncompleteInput("body-too-large", detail)
        if size > self.size:
            detail = f"the batch has more than {self.size:,} bytes; send the rest in another"
            raise IncompleteInput("body-too-large", detail)
        if seconds > self.seconds:
            detail = f"the batch takes more than {self.seconds:,} s; send the rest in another"
            raise IncompleteInput("request-timeout", detail)


NO_LIMITS: Final = Limits()


def answer_stream(
    pieces: Iterable[bytes],
    answer: Callable[[bytes, int], bytes] = answer_line,
    limits: Limits = NO_LIMITS,
) -> Iterator[bytes]:
    """The answer to each line, ended by a newline, in order.

    Parameters
    ----------
    pieces : iterable of bytes
        The input, split anywhere. If it raises `IncompleteInput`, that problem is the last answer.
    answer : callable
        Answers a line, given with its number.
    limits : Limits
        Beyond them the last answer is a problem.

    >>> b"".join(answer_stream([b'{"id": "a", "chart"', b': {"text": "| C |"}}']))[:29]
    b'{"id":"a","line":1,"path":{"c'
    """
    splitter, begun, size = LineSplitter(), monotonic(), 0
    try:
        for piece in pieces:
            size += len(piece)
            limits.check(splitter.number, size, monotonic() - begun)
            for number, line in splitter.feed(piece):
                limits.check(number, size, monotonic() - begun)
                yield _answered(number, line, answer)
        for number, line in splitter.end():
            yield _answered(number, line, answer)
    except IncompleteInput as error:
        fault = Fault("", error.detail)
        number = int(min(splitter.number, limits.lines)) + 1
        yield line_problem(number, error.code, fault) + b"\n"


def _answered(number: int, line: bytes | None, answer: Callable[[bytes, int], bytes]) -> bytes:
    return (line_too_large(number) if line is None else answer(line, number)) + b"\n"


class LineSplitter:
    """Splits pieces into numbered lines without blank ones; None is a line over `MAX_LINE`.

    `number`: lines so far, blank ones counted.
    """

    def __init__(self) -> None:
        self.number = 0
        self._held = bytearray()
        self._over = False

    def feed(self, piece: bytes) -> Iterator[tuple[int, bytes | None]]:
        """The lines that end in `piece`."""
        if not self._held and not self._over and not piece.strip():
            self.number += piece.count(b"\n")
            piece = piece[piece.rfind(b"\n") + 1 :]
        *ended, rest = piece.split(b"\n")
        for part in ended:
            self._hold(part)
            yield from self._take()
        self._hold(rest)

    def end(self) -> Iterator[tuple[int, bytes | None]]:
        """The last line, which may lack its end."""
        if self._held or self._over:
            yield from self._take()

    def _hold(self, part: bytes) -> None:
        self._over = self._over or len(self._held) + len(part) > MAX_LINE + 1
        if self._over:
            self._held.clear()
        else:
            self._held += part

    def _take(self) -> Iterator[tuple[int, bytes | None]]:
        self.number += 1
        line, over = bytes(self._held), self._over
        self._held.clear()
        self._over = False
        if over:
            yield self.number, None
        elif line and not line.isspace():
            yield self.number, line


def decompress(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """The bytes of gzipped `pieces`, of one or more members, a block at a time.

    Raises IncompleteInput if the input is not gzip, or is truncated.
    """
    member = zlib.decompressobj(_GZIP)
    for piece in pieces:
        while piece:
            if member.eof:
                member = zlib.decompressobj(_GZIP)
            try:
                block = member.decompress(piece, BLOCK)
            except zlib.error:
                raise IncompleteInput("not-gzip", "from here on the body is not gzip") from None
            piece = member.unused_data if member.eof else member.unconsumed_tail
            if block:
                yield block
    while not member.eof:
        block = member.decompress(b"", BLOCK)
        if not block:
            raise IncompleteInput("not-gzip", "the gzip of the body breaks off before its end")
        yield block


def compress(lines: Iterable[bytes]) -> Iterator[bytes]:
    """`lines` as gzip, flushed after each; fast rather than small."""
    packer = isal_zlib.compressobj(1, zlib.DEFLATED, _GZIP)
    for line in lines:
        yield packer.compress(line) + packer.flush(zlib.Z_SYNC_FLUSH)
    yield packer.flush()
