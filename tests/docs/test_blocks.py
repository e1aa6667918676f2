"""Every block of code of the documentation runs, or is read, and prints what stands below it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from docs import blocks as doc_blocks
from docs import tables as doc_tables
from docs.blocks import FILES, ROOT, Block
from shortway.core.settings.setting import resolve
from support.tables import each_row

BLOCKS = [block for file in FILES for block in doc_blocks.blocks(file)]
RUN = [file for file in FILES if any(b.kind in ("sh", "python") for b in doc_blocks.blocks(file))]


def of(*kinds: str) -> list[Block]:
    """Blocks whose kind and first word are one of `kinds`."""
    return [block for block in BLOCKS if " ".join([block.kind, *block.words[:1]]) in kinds]


@pytest.mark.parametrize("file", RUN, ids=[str(file.relative_to(ROOT)) for file in RUN])
def test_blocks_run_and_print_what_the_page_says(file: Path) -> None:
    assert doc_blocks.with_outputs(file) == file.read_text("utf-8"), "run tests/docs/write.py"


@each_row("block", of("text chart", "json chart"))
def test_charts_are_read(block: Block) -> None:
    kind = {"text": "text/plain", "json": "application/json"}[block.kind]
    said = doc_blocks.app().test_client().post("/v1/charts", data=block.text, content_type=kind)
    assert said.status_code == 200, said.get_data(as_text=True)


@each_row("block", of("json setting"))
def test_settings_are_taken(block: Block) -> None:
    assert resolve(json.loads(block.text))


@each_row("block", [b for b in BLOCKS if b.kind == "json" and b.words[0].startswith("/")])
def test_requests_are_answered(block: Block) -> None:
    client = doc_blocks.app().test_client()
    said = client.post(block.words[0], data=block.text, content_type="application/json")
    assert said.status_code == 200, said.get_data(as_text=True)


@each_row("block", [b for b in BLOCKS if b.kind == "http"])
def test_requests_of_error_pages_meet_their_error(block: Block) -> None:
    assert doc_tables.answered(block)["code"] == block.file.stem


def test_no_block_is_left_out() -> None:
    known = {"sh", "python", "http", "text chart", "text output", "json chart", "json setting",
             "json answer", "text drawing"}  # fmt: skip
    for block in BLOCKS:
        kind = " ".join([block.kind, *block.words[:1]])
        is_request = block.kind == "json" and block.words[0].startswith("/")
        is_file = any(word.startswith("file=") for word in block.words)
        assert kind in known or block.kind in known or is_request or is_file, str(block)


def test_pictures_are_drawn_by_a_command_of_the_manual() -> None:
    pictures = set((doc_blocks.MANUAL / "pictures").iterdir())
    found = doc_blocks.drawn()
    assert set(found) == pictures
    assert {path: path.read_bytes() for path in pictures} == found, "run tests/docs/write.py"
