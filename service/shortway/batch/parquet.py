"""Tables in Parquet: rows in as lines, answer lines out as rows.

Knows pyarrow, which is an extra and loaded with this module only.
"""

import gzip
from collections.abc import Iterator
from itertools import chain, islice
from pathlib import Path
from typing import Any, Final

import orjson
import pyarrow as pa
import pyarrow.parquet as pq

from shortway.batch.chunks import MOST_LINES, Line
from shortway.batch.errors import CannotStart

COLUMNS: Final = ({"id", "request"}, {"id", "chart"})
"""The columns of an input, all texts: a request as JSON without its id, or a chart as text."""

ANSWERS: Final = pa.schema(
    [
        pa.field("id", pa.string()),
        pa.field("line", pa.int64()),
        pa.field("path", pa.string()),
        pa.field("problem", pa.string()),
    ]
)
"""The columns of an output: the fields of an answer line, paths and problems as JSON."""

GROUP: Final = 1024
"""Rows of a row group of the output: about 30 MB of paths before they are compressed."""

NOT_UTF8: Final = b"\xff"

Row = dict[str, bytes | None]

_BUFFER: Final = 1 << 20


def read_rows(path: Path, offset: int) -> Iterator[Line]:
    """The rows of a table from the row `offset`, as lines.

    Raises CannotStart if the columns are not those of `COLUMNS`, or not texts; OSError if the file
    is no Parquet, or damaged.
    """
    try:
        with pq.ParquetFile(path, buffer_size=_BUFFER, pre_buffer=False) as file:
            _check(path, file.schema_arrow)
            count = file.metadata.num_rows
            for at, row in enumerate(_values(file, offset), offset + 1):
                yield Line(_text(row), at, at / count)
    except pa.ArrowException as error:
        raise OSError(str(error)) from None


def _check(path: Path, schema: Any) -> None:
    if set(schema.names) not in COLUMNS or len(schema.names) != 2:
        expected = "id and request, or id and chart"
        raise CannotStart(f"{path} has the columns {', '.join(schema.names)}; expected {expected}")
    for field in schema:
        if field.type not in (pa.string(), pa.large_string()):
            raise CannotStart(f"{path}: the column {field.name} holds {field.type}, not text")


def _values(file: Any, offset: int) -> Iterator[Row]:
    """The rows from `offset` on; row groups before it are not read."""
    for group in range(file.num_row_groups):
        count = file.metadata.row_group(group).num_rows
        if offset < count:
            batches = file.iter_batches(MOST_LINES, [group])
            yield from islice(chain.from_iterable(map(_unpacked, batches)), offset, None)
        offset = max(0, offset - count)


def _unpacked(batch: Any) -> Iterator[Row]:
    """The rows of a batch as bytes; they may not be UTF-8."""
    columns = [column.cast(pa.large_binary()).to_pylist() for column in batch.columns]
    return (dict(zip(batch.schema.names, row, strict=True)) for row in zip(*columns, strict=True))


def _text(row: Row) -> bytes:
    """A row as a line.

    What is no object makes no JSON and what is no UTF-8 makes none, and both are refused as such.

    >>> _text({"id": b"a", "chart": b"| C |"})
    b'{"id":"a","chart":{"text":"| C |"}}'
    >>> _text({"id": b"a", "request": b' {"chart": {"text": "| C |"}}'})
    b'{"id":"a","chart": {"text": "| C |"}}'
    """
    try:
        head = b'{"id":' + _json(row["id"])
        if "chart" in row:
            return head + b',"chart":{"text":' + _json(row["chart"]) + b"}}"
    except UnicodeDecodeError:
        return NOT_UTF8
    inside = (row["request"] or b"{}").strip().removeprefix(b"{")
    return head + (b"" if inside.lstrip().startswith(b"}") else b",") + inside


def _json(text: bytes | None) -> bytes:
    return orjson.dumps(None if text is None else text.decode())


def convert_to_parquet(part: Path, ready: Path) -> None:
    """Write the gzipped answer lines of `part` as a table."""
    with (
        gzip.open(part, "rb") as lines,
        pq.ParquetWriter(ready, ANSWERS, compression="zstd") as writer,
    ):
        while held := list(islice(lines, GROUP)):
            table = pa.Table.from_pylist([_row(line) for line in held], ANSWERS)
            writer.write_table(table)


def _row(line: bytes) -> dict[str, Any]:
    answer = orjson.loads(line)
    told = {
        name: None if answer[name] is None else orjson.dumps(answer[name]).decode()
        for name in ("path", "problem")
    }
    return {"id": answer["id"], "line": answer["line"], **told}
