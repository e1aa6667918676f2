"""The process that engraves: a line of JSON in, a line of JSON out, until its input ends.

Knows Verovio and nothing of ours. A call of Verovio's may hold the interpreter for seconds, cannot
be stopped, and might end the process; so it has one of its own, which whoever waits may kill.
Verovio writes its log to standard error and nowhere else, so that is a file here.
"""

from __future__ import annotations

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
_TOLD: Final = re.compile(rb"\[(?:Warning|Error)\]\s*(.*)")


def serve_engraver() -> None:
    """Answer ``[musicxml, options]`` with ``[pages, warnings]``; no pages where it is no score."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for whoever started this
    with tempfile.TemporaryFile() as log:
        os.dup2(log.fileno(), _STDERR)
        for line in sys.stdin.buffer:
            pages = _engraved(*json.loads(line))
            sys.stdout.write(json.dumps([pages, _told(log)]) + "\n")
            sys.stdout.flush()


def _engraved(musicxml: str, options: dict[str, Any]) -> list[str]:
    toolkit = verovio.toolkit(False)
    toolkit.setResourcePath(_FONTS)
    toolkit.setOptions(options)
    count = toolkit.getPageCount() if toolkit.loadData(musicxml) else 0
    return [toolkit.renderToSVG(number) for number in range(1, count + 1)]


def _told(log: IO[bytes]) -> list[str]:
    """What was warned of since the last time."""
    log.seek(0)
    found = [match[1].decode("utf-8", "replace").strip() for match in _TOLD.finditer(log.read())]
    log.seek(0)
    log.truncate()
    return found


if __name__ == "__main__":
    serve_engraver()
