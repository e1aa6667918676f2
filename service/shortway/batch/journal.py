"""The output while it grows, and the note beside it from which a killed batch goes on.

Knows files and no charts. Beside ``OUT`` lie two files. ``OUT.part`` takes the answers, appended;
``OUT.state`` notes how far both input and output are, and what they were made from. Answers are
on the disk before the note says so, and the note is replaced in one act: whatever moment a kill
takes, the note tells a truth, and what stands in ``OUT.part`` beyond it is cut off and done again.
``OUT`` itself appears in one act when all is done.
"""

from __future__ import annotations

import contextlib
import fcntl
import io
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from shortway.batch.chunks import Chunk, ChunkResult
from shortway.batch.errors import CannotStart, Stopped
from shortway.batch.journal_state import (
    COMPLETE,
    PUBLISHING,
    WORKING,
    JournalPosition,
    read_state,
    sidecar,
    sync,
    write_state,
)

COMMIT_EVERY: Final = 0.5
"""Seconds of work that a kill may cost."""

ANEW: Final = "--overwrite does it anew"
Convert = Callable[[Path, Path], None]


class Journal:
    """The growing output of one batch; get it from `open_journal`.

    Attributes
    ----------
    mark : Mark
        How far it is; known on the disk up to the last `commit`.
    """

    def __init__(
        self, out: Path, origin: dict[str, Any], part: io.RawIOBase, mark: JournalPosition
    ) -> None:
        self.out = out
        self.mark = self._next = mark
        self._origin = origin
        self._part = part
        self._committed = float("-inf")
        self.begun = False

    def append(self, chunk: Chunk, answers: ChunkResult) -> None:
        """Put the answers to `chunk` behind the others; now and then make sure of them.

        Raises
        ------
        Stopped
            The disk is full, or the like.
        """
        self._begin()
        self._next = replace(
            self.mark,
            offset=chunk.offset,
            line=chunk.last,
            written=self.mark.written + len(answers.data),
            counts=self.mark.counts + answers.counts,
        )
        with _writing(self.out):
            self._write(answers.data)
        self.mark = self._next
        if time.monotonic() - self._committed >= COMMIT_EVERY:
            self.commit()

    def _begin(self) -> None:
        """Cut off what the note does not know; a new note comes first, so that it tells a truth."""
        if not self.begun:
            self.commit()
            os.ftruncate(self._part.fileno(), self.mark.written)
            self.begun = True

    def _write(self, data: bytes) -> None:
        """All of `data` or nothing of it.

        A disk that is nearly full takes some and says so only the next time.
        """
        rest = memoryview(data)
        try:
            while rest:
                rest = rest[self._part.write(rest) :]
        except OSError:
            os.ftruncate(self._part.fileno(), self.mark.written)  # makes room for the note
            raise

    def commit(self) -> None:
        """Answers to the disk first, then the note about them.

        Answers that are written whole are noted, though a signal came before the mark told of them.

        Raises
        ------
        Stopped
        """
        with _writing(self.out):
            held = os.fstat(self._part.fileno()).st_size
            if self.mark.written < self._next.written == held:
                self.mark = self._next
            os.fdatasync(self._part.fileno())
            write_state(self.out, self._origin, self.mark)
        self._committed = time.monotonic()

    def publish(self, convert: Convert | None) -> None:
        """Let the complete output appear under its name.

        Parameters
        ----------
        convert : callable or None
            Writes the output's format from the path of the answers to another path; None if the
            answers are in it already.

        Raises
        ------
        Stopped
        """
        self._begin()
        self.mark = replace(self.mark, stage=PUBLISHING)
        self.commit()
        part = sidecar(self.out, "part")
        with _writing(self.out):
            os.replace(_converted(self.out, convert) if convert else part, self.out)
            sync(self.out.parent)
        self.finish()

    def finish(self) -> None:
        """Note that the output is complete, and leave nothing else beside it."""
        with _writing(self.out):
            size = self.out.stat().st_size
            self.mark = replace(self.mark, stage=COMPLETE, size=size)
            write_state(self.out, self._origin, self.mark)
            sidecar(self.out, "part").unlink(missing_ok=True)


@contextmanager
def open_journal(out: Path, origin: dict[str, Any], overwrite: bool) -> Iterator[Journal]:
    """The journal of `out`, new or where it stopped; no other process has it meanwhile.

    Parameters
    ----------
    out : Path
    origin : dict
        What the output is made from: JSON values. A journal of another origin is not gone on with.
    overwrite : bool
        Whether an output, or a journal of another origin, may be replaced.

    Raises
    ------
    CannotStart
        Another process is at it; or an output or a journal is there that this batch did not make.
    """
    path = sidecar(out, "part")
    with _creating(path) as part:
        _lock(part, path, out)
        held = os.fstat(part.fileno()).st_size
        try:
            journal = Journal(out, origin, part, _found(out, origin, overwrite, held))
            if journal.mark.stage == COMPLETE:
                journal.finish()
            yield journal
        except CannotStart:
            if os.fstat(part.fileno()).st_size == 0:
                path.unlink(missing_ok=True)
            raise


@contextmanager
def _creating(path: Path) -> Iterator[io.RawIOBase]:
    try:
        part = open(path, "ab", buffering=0)  # noqa: SIM115 - closed below
    except OSError as error:
        raise CannotStart(f"{path} cannot be written: {error.strerror}") from None
    with part:
        yield part


@contextmanager
def _writing(out: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise Stopped(f"{out} cannot be written on: {error.strerror or error}") from None


def _converted(out: Path, convert: Convert) -> Path:
    """The answers in the format of the output, on the disk; nothing is left of a failure."""
    ready = sidecar(out, "ready")
    try:
        convert(sidecar(out, "part"), ready)
        sync(ready)
    except BaseException:
        ready.unlink(missing_ok=True)
        raise
    return ready


def _lock(part: io.RawIOBase, path: Path, out: Path) -> None:
    """Keep other processes off; the lock goes with the process, whatever ends it."""
    try:
        fcntl.flock(part, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise CannotStart(f"another process is writing {out}") from None
    with contextlib.suppress(FileNotFoundError):
        if os.path.samestat(os.fstat(part.fileno()), path.stat()):
            return
    raise CannotStart(f"another process has just finished {out}; give the command again")


def _found(out: Path, origin: dict[str, Any], overwrite: bool, held: int) -> JournalPosition:
    """The mark to go on from, given what lies on the disk; `held` bytes of answers do."""
    noted = read_state(out)
    if noted is None:
        if (held or out.exists()) and not overwrite:
            what = out if out.exists() else sidecar(out, "part")
            raise CannotStart(f"{what} exists and is not known to be of this batch; {ANEW}")
        return JournalPosition()
    made_from, mark = noted
    moved = mark.stage == PUBLISHING and held < mark.written
    done = mark.stage == COMPLETE or moved
    if done and not out.exists():
        return JournalPosition()
    if made_from != origin:
        if not overwrite:
            raise CannotStart(_told(out, made_from, origin, done))
        return JournalPosition()
    return _done(out, mark, overwrite) if done else _going_on(out, mark, held)


def _told(out: Path, made_from: dict[str, Any], origin: dict[str, Any], done: bool) -> str:
    """That other things went into an output than are given now, and which."""
    names = made_from.keys() | origin.keys()
    other = sorted(name for name in names if made_from.get(name) != origin.get(name))
    state = "was made" if done else "was begun"
    return f"{out} {state} with another {' and '.join(other)}; {ANEW}"


def _done(out: Path, mark: JournalPosition, overwrite: bool) -> JournalPosition:
    if overwrite:
        return JournalPosition()
    if mark.size not in (None, out.stat().st_size):
        raise CannotStart(f"{out} has been changed since it was complete; {ANEW}")
    return replace(mark, stage=COMPLETE)


def _going_on(out: Path, mark: JournalPosition, held: int) -> JournalPosition:
    if held < mark.written:
        detail = f"{sidecar(out, 'part')} is shorter than {sidecar(out, 'state')} says"
        raise CannotStart(f"{detail}; remove both to begin anew")
    return replace(mark, stage=WORKING)
