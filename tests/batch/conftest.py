"""A book of charts, and the answers to it from one run that nobody disturbed."""

from __future__ import annotations

from pathlib import Path

import pytest

from batch.commands import CHARTS, run, written
from support.tunes import requests


@pytest.fixture(scope="session")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Distinct charts of ten measures: enough to be killed in."""
    folder = tmp_path_factory.mktemp("book")
    return written(folder / "book.jsonl", requests(CHARTS, measures=10))


@pytest.fixture(scope="session")
def answered(book: Path) -> bytes:
    """The answers to the book, from one run that nobody disturbed."""
    out = book.with_name("undisturbed.jsonl")
    run(book, out, "--workers", 1)
    return out.read_bytes()
