"""The state of a batch on disk: its position, beside its output.

Knows files and no charts. ``OUT.state`` is replaced atomically, so it is always complete.
"""

import json
import os
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from shortway.batch.chunks import Counts

WORKING, PUBLISHING, COMPLETE = "working", "publishing", "complete"


@dataclass(frozen=True, slots=True)
class JournalPosition:
    """The position of a batch."""

    #: Where the unread input begins, and the number of lines that are read.
    offset: int = 0
    line: int = 0
    #: Bytes of the answers to them.
    written: int = 0
    counts: Counts = field(default_factory=Counts)
    #: ``working``, ``publishing`` or ``complete``.
    stage: str = WORKING
    #: Bytes of the complete output.
    size: int | None = None


def sidecar(out: Path, what: str) -> Path:
    """The file ``OUT.what``."""
    return out.with_name(f"{out.name}.{what}")


def write_state(out: Path, origin: dict[str, Any], mark: JournalPosition) -> None:
    """Replace the state atomically. Raises OSError."""
    fresh = sidecar(out, "state.new")
    try:
        with open(fresh, "w", encoding="utf-8") as file:
            json.dump({"made_from": origin, **asdict(mark)}, file)
            file.flush()
            os.fdatasync(file.fileno())
        os.replace(fresh, sidecar(out, "state"))
    except OSError:
        fresh.unlink(missing_ok=True)
        raise


def read_state(out: Path) -> tuple[dict[str, Any], JournalPosition] | None:
    """The origin and mark in the state beside `out`; None if it is missing or unreadable."""
    try:
        noted = json.loads(sidecar(out, "state").read_text("utf-8"))
        made_from = noted.pop("made_from")
        return dict(made_from), JournalPosition(**noted | {"counts": Counts(**noted["counts"])})
    except (FileNotFoundError, ValueError, TypeError, KeyError, AttributeError):
        return None


def sync(path: Path) -> None:
    """Sync a file, or the names in a folder, to disk."""
    number = os.open(path, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
