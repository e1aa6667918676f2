"""Runs a batch: an input file, an output file, and workers.

The input is read in chunks from the journal's position, the chunks are answered in order, and the
answers are appended to the journal.
"""

import gzip
from collections.abc import Generator, Iterable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, Protocol

from shortway import __version__
from shortway.batch import inputs
from shortway.batch import process_pool as local
from shortway.batch.chunks import Chunk, ChunkResult, Counts, Task
from shortway.batch.errors import BatchError, CannotStart, InputChanged
from shortway.batch.inputs import InputFormat
from shortway.batch.journal import Convert, Journal, open_journal
from shortway.batch.journal_state import COMPLETE

Pair = tuple[Chunk, ChunkResult]


EMPTY: Final = ChunkResult(gzip.compress(b"", mtime=0), Counts())
"""An empty gzip file."""


class ProgressObserver(Protocol):
    """Receives the progress of a batch."""

    def tell(self, done: int, share: float) -> None:
        """Report the charts done, and the share of the input read, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Batch:
    """A batch job."""

    #: JSON Lines, gzipped or not, or Parquet, by file name extension.
    source: Path
    out: Path
    #: The default setting of lines without one, in the wire's form.
    setting: Mapping[str, Any] | None = None
    #: Processes on this machine; 1 is this process alone.
    workers: int = 1
    #: The address of a Dask scheduler whose workers do the work.
    scheduler: str | None = None
    #: Whether the output of another batch may be replaced.
    overwrite: bool = False


@dataclass(frozen=True, slots=True)
class BatchReport:
    """The result of a batch; earlier runs had answered `before` of its charts."""

    counts: Counts
    before: int
    nothing_to_do: bool


def run_batch(batch: Batch, watcher: ProgressObserver | None = None) -> BatchReport:
    """Answer every line of the input that is not answered yet.

    Raises CannotStart, Stopped, InputChanged with a message for the user.
    """
    if batch.out.is_symlink():
        batch = replace(batch, out=batch.out.resolve())  # else it would be replaced by a file
    kind = inputs.input_format(batch.out)
    convert = _loaded(inputs.input_format(batch.source), kind)
    _check(batch)
    task = Task(batch.setting, packed=kind.packed or kind.table)
    origin = _origin(batch)
    with open_journal(batch.out, origin, batch.overwrite) as journal:
        before = journal.mark.counts.total
        if journal.mark.stage == COMPLETE:
            return BatchReport(journal.mark.counts, before, True)
        _answer_all(batch, task, journal, watcher)
        if _origin(batch) != origin:
            raise InputChanged(f"{batch.source} changed while it was read; --force begins anew")
        journal.publish(convert)
        return BatchReport(journal.mark.counts, before, False)


def _answer_all(
    batch: Batch, task: Task, journal: Journal, watcher: ProgressObserver | None
) -> None:
    at = journal.mark
    read = inputs.read_chunks(batch.source, at.offset, at.line)
    with _kept(journal), closing(read), closing(_worked(batch, task, read)) as answered:
        for chunk, answers in answered:
            journal.append(chunk, answers)
            if watcher is not None:
                watcher.tell(journal.mark.counts.total, chunk.share)
        if task.packed and not journal.mark.written:
            journal.append(Chunk(journal.mark.line + 1, (), journal.mark.offset, 1.0), EMPTY)


@contextmanager
def _kept(journal: Journal) -> Iterator[None]:
    """Commit the answers so far when an exception ends the work."""
    try:
        yield
    except BaseException:
        if journal.begun:
            with suppress(BatchError):
                journal.commit()
        raise


def _worked(batch: Batch, task: Task, read: Iterable[Chunk]) -> Generator[Pair, None, None]:
    if batch.scheduler is not None:
        with _extra("cluster", "distributed"):
            from shortway.batch.cluster import run_on_cluster

        return run_on_cluster(task, read, batch.scheduler)
    return (
        local.run_in_process(task, read)
        if batch.workers == 1
        else local.run_in_pool(task, read, batch.workers)
    )


def _loaded(source: InputFormat, out: InputFormat) -> Convert | None:
    """The function that converts the answers into the output's format; None if none is needed."""
    if not source.table and not out.table:
        return None
    with _extra("parquet", "pyarrow"):
        from shortway.batch.parquet import convert_to_parquet
    return convert_to_parquet if out.table else None


@contextmanager
def _extra(name: str, module: str) -> Iterator[None]:
    try:
        yield
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] not in (module, "dask"):
            raise
        raise CannotStart(f"this needs an extra: pip install 'shortway[{name}]'") from None


def _check(batch: Batch) -> None:
    """Reject an output that is a folder, or the input."""
    if batch.out.exists() and not batch.out.is_file():
        raise CannotStart(f"{batch.out} is not a file")
    if batch.out.exists() and batch.source.exists() and batch.out.samefile(batch.source):
        raise CannotStart("input and output are the same file")


def _origin(batch: Batch) -> dict[str, Any]:
    """What the output is made from; if it changes, a journal is not resumed."""
    return {
        "input": inputs.fingerprint(batch.source),
        "setting": None if batch.setting is None else dict(batch.setting),
        "version": __version__,
    }
