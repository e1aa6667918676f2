"""The growing output of a batch, and the state file from which a killed batch resumes.

Knows files and no charts. There are two files beside ``OUT``. Answers are appended to ``OUT.part``.
``OUT.state`` holds the position in input and output, and what the output is made from. Answers are
on disk before the state says so, and the state is replaced atomically, so it is true whenever the
process is killed; a resumed batch truncates ``OUT.part`` to it. ``OUT`` appears atomically when all
is done.
"""

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
"""Seconds between two commits: the work that a kill may cost."""

ANEW: Final = "--force replaces it"
Convert = Callable[[Path, Path], None]


class Journal:
    """The growing output of one batch; get it from `open_journal`.

    `mark`: the position; on disk up to the last `commit`.
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
        """Append the answers to `chunk`, and commit now and then.

        Raises Stopped if they cannot be written: the disk is full, for instance.
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
        """Truncate the output to the committed position, once."""
        if not self.begun:
            self.commit()
            os.ftruncate(self._part.fileno(), self.mark.written)
            self.begun = True

    def _write(self, data: bytes) -> None:
        """Write all of `data` or nothing; a nearly full disk takes a part without an error."""
        rest = memoryview(data)
        try:
            while rest:
                rest = rest[self._part.write(rest) :]
        except OSError:
            os.ftruncate(self._part.fileno(), self.mark.written)  # makes room for the state
            raise

    def commit(self) -> None:
        """Sync the answers to disk, then write the state. Raises Stopped.

        Answers that were written completely count, even if a signal came before `mark` was set.
        """
        with _writing(self.out):
            held = os.fstat(self._part.fileno()).st_size
            if self.mark.written < self._next.written == held:
                self.mark = self._next
            os.fdatasync(self._part.fileno())
            write_state(self.out, self._origin, self.mark)
        self._committed = time.monotonic()

    def publish(self, convert: Convert | None) -> None:
        """Move the complete output to its name.

        `convert`: writes the output's format from the path of the answers to another path; None if
        the answers are in it already.

        Raises Stopped.
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
        """Write the state of a complete output, and remove the partial one."""
        with _writing(self.out):
            size = self.out.stat().st_size
            self.mark = replace(self.mark, stage=COMPLETE, size=size)
            write_state(self.out, self._origin, self.mark)
            sidecar(self.out, "part").unlink(missing_ok=True)


@contextmanager
def open_journal(out: Path, origin: dict[str, Any], overwrite: bool) -> Iterator[Journal]:
    """The journal of `out`, new or resumed; locked against other processes.

    `origin`: what the output is made from: JSON values. A journal of another origin is not resumed.
    `overwrite`: whether an output, or a journal of another origin, may be replaced.

    Raises CannotStart if another process has it, or there is an output or a journal of another
    batch.
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
        raise Stopped(f"{out} cannot be written: {error.strerror or error}") from None


def _converted(out: Path, convert: Convert) -> Path:
    """The answers in the output's format, on disk; a failure leaves no file."""
    ready = sidecar(out, "ready")
    try:
        convert(sidecar(out, "part"), ready)
        sync(ready)
    except BaseException:
        ready.unlink(missing_ok=True)
        raise
    return ready


def _lock(part: io.RawIOBase, path: Path, out: Path) -> None:
    """Lock the output; the lock ends with the process."""
    try:
        fcntl.flock(part, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise CannotStart(f"another process is writing {out}") from None
    with contextlib.suppress(FileNotFoundError):
        if os.path.samestat(os.fstat(part.fileno()), path.stat()):
            return
    raise CannotStart(f"another process has just finished {out}; repeat the command")


def _found(out: Path, origin: dict[str, Any], overwrite: bool, held: int) -> JournalPosition:
    """The position to resume from; there are `held` bytes of answers on disk."""
    noted = read_state(out)
    if noted is None:
        if (held or out.exists()) and not overwrite:
            what = out if out.exists() else sidecar(out, "part")
            raise CannotStart(f"{what} exists and is not of this batch; {ANEW}")
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
    """The message that an output is of another origin, with what differs."""
    names = made_from.keys() | origin.keys()
    other = sorted(name for name in names if made_from.get(name) != origin.get(name))
    state = "was made" if done else "was started"
    return f"{out} {state} with another {' and '.join(other)}; {ANEW}"


def _done(out: Path, mark: JournalPosition, overwrite: bool) -> JournalPosition:
    if overwrite:
        return JournalPosition()
    if mark.size not in (None, out.stat().st_size):
        raise CannotStart(f"{out} has changed since it was complete; {ANEW}")
    return replace(mark, stage=COMPLETE)


def _going_on(out: Path, mark: JournalPosition, held: int) -> JournalPosition:
    if held < mark.written:
        detail = f"{sidecar(out, 'part')} is shorter than {sidecar(out, 'state')} says"
        raise CannotStart(f"{detail}; remove both to start again")
    return replace(mark, stage=WORKING)
