"""``shortway batch``: solve many charts of one file into another.

Exit codes: 0 every line is answered; 1 every line is answered, some with an internal error; 2 the
command is rejected; 3 stopped before the end, 130 and 143 interrupted: the same command resumes,
unless the input changed meanwhile.
"""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from shortway.cli.errors import (
    REFUSED,
    exit_with_error,
    pointer_prefix,
    printable,
    report_errors,
    stopped_by_terminate,
)
from shortway.cli.options import command, setting_options

FAILED, STOPPED = 1, 3
RESUME = "the same command resumes from there"


@command("batch")
@click.argument("source", metavar="IN", type=click.Path(path_type=Path, dir_okay=False))
@click.argument("out", metavar="OUT", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--workers", type=click.IntRange(1, 256), help="Processes; default: one per CPU.")
@click.option("--scheduler", metavar="ADDRESS", help="Dask scheduler: tcp://host:8786.")
@click.option(
    "--force", "--overwrite", "overwrite", is_flag=True, help="Replace the output of another batch."
)
@click.option("--progress/--no-progress", default=None, help="Default: on a terminal.")
@click.option("--quiet", is_flag=True, help="Print errors only.")
@setting_options
def batch_command(
    source: Path,
    out: Path,
    workers: int | None,
    scheduler: str | None,
    overwrite: bool,
    progress: bool | None,
    quiet: bool,
    setting: dict[str, Any],
) -> None:
    """Solve every chart of IN into OUT.

    Both are JSON Lines (.jsonl, .ndjson, also with .gz) or Parquet (.parquet). Each line is a path
    request of the service with an "id". The setting options apply to lines without a setting. If
    the command is interrupted at any moment, running it again resumes the batch.
    """
    with _stopping():
        from shortway.batch.run import Batch
        from shortway.config import usable_cpus
        from shortway.garbage_collection import shorten_collections

        shorten_collections()
        _set_cache_budget()
        _check_setting(setting)
        given = Batch(source, out, setting or None, workers or usable_cpus(), scheduler, overwrite)
        sys.exit(_run(given, quiet, progress))


def _run(given: Any, quiet: bool, progress: bool | None) -> int:
    from shortway.batch.errors import BatchError, CannotStart, Stopped
    from shortway.batch.progress import Progress
    from shortway.batch.run import run_batch

    shown = sys.stderr.isatty() if progress is None else progress
    watcher = Progress(_to_screen) if shown and not quiet else None
    try:
        report = run_batch(given, watcher)
    except BatchError as error:
        kept = f"; {RESUME}" if isinstance(error, Stopped) else ""
        click.echo(printable(f"Error: {error}{kept}"), err=True)
        return REFUSED if isinstance(error, CannotStart) else STOPPED
    finally:
        if watcher is not None:
            watcher.end()
    if not quiet:
        click.echo(_told(report, given.out))
    return FAILED if report.counts.failed else 0


def _told(report: Any, out: Path) -> str:
    """The last line of output."""
    if report.nothing_to_do:
        return f"{out} is already complete: {report.counts}"
    earlier = f" ({report.before:,} of them by earlier runs)" if report.before else ""
    return f"{out}: {report.counts}{earlier}"


def _set_cache_budget() -> None:
    from shortway.config import ConfigurationError, load_setting
    from shortway.core.cache import set_budget

    try:
        set_budget(load_setting(os.environ, "cache_mb") << 20)
    except ConfigurationError as error:
        exit_with_error(str(error))


def _check_setting(setting: dict[str, Any]) -> None:
    from shortway.core.settings.setting import resolve

    with report_errors({"setting": setting}), pointer_prefix("/setting"):
        resolve(setting)


@contextmanager
def _stopping() -> Iterator[None]:
    """SIGINT and SIGTERM end the batch in order, with their usual exit codes."""
    with stopped_by_terminate() as codes:
        try:
            yield
        except KeyboardInterrupt:
            click.echo(f"Stopped. Answered lines are kept; {RESUME}.", err=True)
            sys.exit(codes[-1])


def _to_screen(text: str) -> None:
    sys.stderr.write(text)
    sys.stderr.flush()
