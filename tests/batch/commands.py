"""The command as a process of its own, and inputs of several kinds."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

COMMAND = (sys.executable, "-W", "error", "-m", "shortway", "batch")
#: Charts in the book of the fixtures.
CHARTS = 3000
#: Seconds that a command may take on a machine that many share; no test waits for it to pass.
LONG = 300

#: Lines that are refused, each for another reason, and what for.
BAD = {
    b'{"id": "unreadable", "chart": {"text": "| Xq |"}}': "symbol-unreadable",
    b'{"id": "chartless", "chart": {"text": ""}}': "chart-unreadable",
    b"{not json": "not-json",
    b'\xff\xfe{"id": "x"}': "not-json",
    b'{"chart": {"text": "| C |"}}': "missing-field",
    b'{"id": 7, "chart": {"text": "| C |"}}': "wrong-type",
    b'{"id": "more", "chart": {"text": "| C |"}, "tempo": 120}': "unknown-field",
    b'{"id": "long", "chart": "' + b"x" * (1 << 20) + b'"}': "line-too-large",
    b"[" * 100_000: "not-json",
    b"[]": "wrong-type",
}


def hears_interrupts() -> None:
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def start(*arguments: object, **options: Any) -> subprocess.Popen[str]:
    """The command; it hears Ctrl-C even where a shell in the background has it ignored."""
    options = {"preexec_fn": hears_interrupts} | options
    return subprocess.Popen(
        [*COMMAND, *map(str, arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **options,
    )


def run(*arguments: object, code: int = 0, **options: Any) -> tuple[str, str]:
    """What the command says on its two outputs; it must end with `code`."""
    process = start(*arguments, **options)
    said = process.communicate(timeout=LONG)
    assert process.returncode == code, said
    return said


def written(path: Path, lines: Iterable[dict[str, Any] | bytes]) -> Path:
    texts = (line if isinstance(line, bytes) else json.dumps(line).encode() for line in lines)
    path.write_bytes(b"".join(text + b"\n" for text in texts))
    return path
