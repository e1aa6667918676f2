"""The qualities of the table of suffixes, each once."""

from __future__ import annotations

from pathlib import Path

from shortway.core.symbols import parser as symbols
from shortway.core.theory.qualities import Quality

_TABLE = Path(__file__).parents[1] / "data" / "suffixes.tsv"


def _read() -> tuple[Quality, ...]:
    rows = [row for row in _TABLE.read_text("utf-8").splitlines() if row and row[0] != "#"]
    names = [row.partition("\t")[0] for row in rows]
    read = (symbols.parse("C" + ("" if name == "." else name)).content for name in names)
    return tuple(dict.fromkeys(read))


QUALITIES = _read()
