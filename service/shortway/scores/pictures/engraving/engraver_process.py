"""The engraver process: a line of JSON in, a line of JSON out, until its input ends.

A call of Verovio can block the interpreter for seconds, cannot be cancelled and might crash, so it
has a process of its own, which the caller can kill. Verovio writes its log to standard error only;
here that is a file.
"""

import json
import os
import re
import signal
import sys
import tempfile
from pathlib import Path
from typing import IO, Any, Final

import verovio

_FONTS: Final = str(Path(verovio.__file__).parent / "data")
_STDERR: Final = 2
_WARNING: Final = re.compile(rb"\[(?:Warning|Error)\]\s*(.*)")


def serve_engraver() -> None:
    """Answer ``[musicxml, options]`` with ``[pages, warnings]``; no pages if it is no score."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent handles Ctrl-C
    with tempfile.TemporaryFile() as log:
        os.dup2(log.fileno(), _STDERR)
        toolkit = verovio.toolkit(False)
        toolkit.setResourcePath(_FONTS)  # reads the fonts
        for line in sys.stdin.buffer:
            pages = _engraved(toolkit, *json.loads(line))
            sys.stdout.write(json.dumps([pages, _warnings(log)]) + "\n")
            sys.stdout.flush()


def _engraved(toolkit: verovio.toolkit, musicxml: str, options: dict[str, Any]) -> list[str]:
    """The pages of a score; every call sets the same options."""
    toolkit.setOptions(options)
    count = toolkit.getPageCount() if toolkit.loadData(musicxml) else 0
    return [toolkit.renderToSVG(number) for number in range(1, count + 1)]


def _warnings(log: IO[bytes]) -> list[str]:
    """The warnings since the last call."""
    log.seek(0)
    found = [match[1].decode("utf-8", "replace").strip() for match in _WARNING.finditer(log.read())]
    log.seek(0)
    log.truncate()
    return found


if __name__ == "__main__":
    serve_engraver()
