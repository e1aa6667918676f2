"""The input files of a batch by file name extension, and JSON Lines read from any offset.

Knows files and chunks. Only the current line is held in memory, and of a line that is too long only
the beginning.
"""

import gzip
import hashlib
import zlib
from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final, cast

from shortway.batch.chunks import Chunk, Line, split_into_chunks
from shortway.batch.errors import CannotStart, Stopped
from shortway.batch.lines import MAX_LINE


@dataclass(frozen=True, slots=True)
class InputFormat:
    """A format of files; `packed` is gzip, `table` Parquet."""

    packed: bool = False
    table: bool = False


FORMATS: Final[dict[str, InputFormat]] = {
    ".jsonl": InputFormat(),
    ".ndjson": InputFormat(),
    ".jsonl.gz": InputFormat(packed=True),
    ".ndjson.gz": InputFormat(packed=True),
    ".parquet": InputFormat(table=True),
}
"""The formats by file name extension."""

_ENDS: Final = ", ".join(FORMATS)


def input_format(path: Path) -> InputFormat:
    """The format of a file, by its name.

    Raises CannotStart.

    >>> input_format(Path("book.jsonl.gz"))
    InputFormat(packed=True, table=False)
    """
    for end, found in FORMATS.items():
        if path.name.lower().endswith(end):
            return found
    raise CannotStart(f"{path}: the name has to end in one of {_ENDS}")


def fingerprint(path: Path) -> str:
    """The SHA-256 of a file. Raises CannotStart if it cannot be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise CannotStart(f"{path} cannot be read: {error.strerror}") from None


def read_chunks(path: Path, offset: int, line: int) -> Generator[Chunk, None, None]:
    """The input from an offset, in chunks.

    `offset`, `line`: a chunk's `offset` and `last`; 0 and 0 at the beginning.

    Raises CannotStart if the file cannot be read, or a table has the wrong columns; Stopped if the
    rest of the file cannot be read: a damaged gzip file, for instance.
    """
    begun = False
    try:
        with closing(_read(path, offset)) as read:
            for chunk in split_into_chunks(read, line):
                begun = True
                yield chunk
    except (OSError, EOFError, zlib.error) as error:
        if begun:
            raise Stopped(f"{path} cannot be read further: {error}") from None
        raise CannotStart(f"{path} cannot be read: {error}") from None


def _read(path: Path, offset: int) -> Generator[Line, None, None]:
    kind = input_format(path)
    if kind.table:
        from shortway.batch import parquet as table

        yield from table.read_rows(path, offset)
    else:
        with path.open("rb") as file:
            yield from _lines(file, kind.packed, offset, path.stat().st_size)


def _lines(file: BinaryIO, packed: bool, offset: int, size: int) -> Iterator[Line]:
    """The lines of a file from the byte `offset` of its uncompressed content."""
    content = cast(BinaryIO, gzip.GzipFile(fileobj=file)) if packed else file
    content.seek(offset)
    while text := content.readline(MAX_LINE + 1):
        offset += len(text) + (0 if text.endswith(b"\n") else _rest(content))
        share = (file.tell() if packed else offset) / size
        yield Line(text.rstrip(b"\r\n"), offset, min(share, 1.0))


def _rest(content: BinaryIO) -> int:
    """Skip the rest of a line that is too long; returns the bytes skipped."""
    passed = 0
    while more := content.readline(1 << 16):
        passed += len(more)
        if more.endswith(b"\n"):
            break
    return passed
