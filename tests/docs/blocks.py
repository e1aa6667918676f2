"""The documentation as tests see it: its files and its blocks of code, and how the blocks run.

Kinds of blocks: ``sh`` and ``python`` run, and a ``text output`` after them is what they print;
``json PATH`` is a request that is answered; ``text chart``, ``json chart`` and ``json setting`` are
read; ``KIND file=NAME`` is a file that later blocks name; ``python needs=LIBRARY`` runs where that
is installed; ``http`` is a request of an error's page.
"""

from __future__ import annotations

import argparse
import base64
import re
import shlex
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import chdir, contextmanager, redirect_stdout
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from io import StringIO
from pathlib import Path
from typing import Any
from unittest.mock import patch

from click.testing import CliRunner
from flask import Flask
from markdown_it import MarkdownIt

from shortway.api import create_app
from shortway.cli import main
from shortway.wire.example_score import PACKED_SHEET, SHEET
from shortway_client import Client
from support.loopback import served

ROOT = Path(__file__).parents[2]
MANUAL = ROOT / "service/shortway/docs"
PAGES = sorted(MANUAL.rglob("*.md"))
FILES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "sdk/README.md", *PAGES]


@dataclass(frozen=True)
class Block:
    """A fenced block: its first word, the words after it, its text, and its line from 1."""

    file: Path
    kind: str
    words: tuple[str, ...]
    text: str
    line: int

    def __str__(self) -> str:
        return f"{self.file.relative_to(ROOT)}:{self.line}"


def blocks(file: Path) -> list[Block]:
    """The fenced blocks of a file."""
    tokens = MarkdownIt("commonmark").parse(file.read_text("utf-8"))
    fences = (token for token in tokens if token.type == "fence" and token.map)
    return [
        Block(file, *_info(token.info), token.content, (token.map or [0])[0] + 1)
        for token in fences
    ]


def _info(info: str) -> tuple[str, tuple[str, ...]]:
    kind, *words = info.split() or [""]
    return kind, tuple(words)


@cache
def app() -> Flask:
    """The service with its default settings."""
    return create_app()


# --- blocks that run ------------------------------------------------------------------------------


class Session:
    """Runs the blocks of one file in order, in a folder of their own, against a running service."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.names: dict[str, Any] = {}

    def run(self, block: Block) -> str:
        """What a block of commands or of Python prints."""
        return self._python(block) if block.kind == "python" else self._shell(block)

    def _python(self, block: Block) -> str:
        needed = [word.removeprefix("needs=") for word in block.words if word.startswith("needs=")]
        if any(find_spec(name) is None for name in needed):  # a library of the [dev] extra
            return ""
        code = compile(block.text, str(block), "exec")
        with (
            patch.object(Client.__init__, "__defaults__", (self.url,)),
            redirect_stdout(StringIO()) as out,
        ):
            exec(code, self.names)
        return out.getvalue()

    def _shell(self, block: Block) -> str:
        subprocess.run(["bash", "-n"], input=block.text, text=True, check=True)
        return "".join(self.command(line) for line in commands(block.text))

    def command(self, line: str) -> str:
        """What one command prints."""
        words = shlex.split(line)
        while words and re.fullmatch(r"[A-Z_]+=\S*", words[0]):
            words.pop(0)
        program, *arguments = words
        if program.removeprefix(".venv/bin/") == "shortway":
            return self._shortway(
                arguments[: arguments.index(">>")] if ">>" in arguments else arguments
            )
        if program == "curl":
            self._curl(arguments[: arguments.index(">")] if ">" in arguments else arguments)
        return ""

    def _shortway(self, arguments: list[str]) -> str:
        if arguments[0] in ("serve", "demo"):  # these go on, or take long: their options are read
            main.commands[arguments[0]].make_context(arguments[0], arguments[1:])
            return ""
        alone = ["--workers", "1"] if arguments[0] == "batch" else []
        found = CliRunner().invoke(main, [*arguments, *alone])
        assert found.exit_code == 0, found.output
        return found.stdout

    def _curl(self, arguments: list[str]) -> None:
        given = _CURL.parse_args(arguments)
        data = given.d.encode() if given.d else None
        if given.data_binary:
            data = Path(given.data_binary.removeprefix("@")).read_bytes()
        headers = dict(header.split(": ", 1) for header in given.H)
        path = given.url.removeprefix("http://127.0.0.1:8000")
        method = "GET" if data is None else "POST"
        said = app().test_client().open(path, method=method, data=data, headers=headers)
        assert said.status_code == 200, said.get_data(as_text=True)


_CURL = argparse.ArgumentParser()
_CURL.add_argument("-s", action="store_true")
_CURL.add_argument("-d")
_CURL.add_argument("-H", action="append", default=[])
_CURL.add_argument("--data-binary")
_CURL.add_argument("-o")
_CURL.add_argument("url")


def commands(text: str) -> Iterator[str]:
    """The commands of a shell block: lines, joined where a quote or a backslash goes on."""
    held = ""
    for line in text.splitlines():
        held += line
        if held.endswith("\\"):
            held = held[:-1]
            continue
        try:
            shlex.split(held)
        except ValueError:
            held += "\n"
            continue
        if held.strip() and not held.lstrip().startswith("#"):
            yield held
        held = ""


def played(file: Path, url: str) -> Iterator[tuple[Block, str]]:
    """Every ``text output`` block of a file, with what the block before it prints now."""
    session, printed = Session(url), ""
    for block in blocks(file):
        if block.kind in ("sh", "python"):
            printed = session.run(block)
        elif block.words[:1] == ("output",):
            yield block, printed
        elif names := [
            word.removeprefix("file=") for word in block.words if word.startswith("file=")
        ]:
            Path(names[0]).write_text(block.text, "utf-8")


@contextmanager
def folder_with_files() -> Iterator[None]:
    """A folder to run blocks in, with the files that they name."""
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        Path("sheet.musicxml").write_text(SHEET, "utf-8")
        Path("sheet.mxl").write_bytes(base64.b64decode(PACKED_SHEET))
        yield


def drawn() -> dict[Path, bytes]:
    """The manual's pictures, each as a command of a block draws it under its name."""
    found = {}
    for block in (block for file in FILES for block in blocks(file) if block.kind == "sh"):
        for line in commands(block.text):
            words = shlex.split(line)
            picture = MANUAL / "pictures" / words[words.index("-o") + 1] if "-o" in words else None
            if picture and picture.exists():
                with folder_with_files():
                    Session("").command(line)
                    found[picture] = Path(picture.name).read_bytes()
    return found


def with_outputs(file: Path) -> str:
    """The file with every ``text output`` block made anew."""
    lines = file.read_text("utf-8").splitlines(keepends=True)
    with folder_with_files(), served(app()) as url:
        found = list(played(file, url))
    for block, printed in reversed(found):
        lines[block.line : block.line + block.text.count("\n")] = printed.splitlines(keepends=True)
    return "".join(lines)
