"""``shortway batch``: many charts from one file into another.

Knows click and, once called, the batch. Exit codes: 0 every line is answered; 1 so too, but some
failed by a fault of ours; 2 the command has to change; 3 stopped before the end, the same command
goes on; 130 and 143 interrupted, likewise.
"""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from shortway.cli.errors import REFUSED, pointer_prefix, report_errors
from shortway.cli.input import setting_options

FAILED, STOPPED = 1, 3
GO_ON = "the same command goes on from there"


@click.command("batch", context_settings={"auto_envvar_prefix": "SHORTWAY"})
@click.argument("source", metavar="IN", type=click.Path(path_type=Path, dir_okay=False))
@click.argument("out", metavar="OUT", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--workers", type=click.IntRange(1, 256), help="Processes; by default one a CPU.")
@click.option("--scheduler", metavar="ADDRESS", help="A Dask cluster's, tcp://host:8786.")
@click.option("--overwrite", is_flag=True, help="Replace what another batch has made.")
@click.option("--progress/--no-progress", default=None, help="By default on a terminal.")
@click.option("--quiet", is_flag=True, help="Say nothing unless something is wrong.")
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

    Both are JSON Lines (.jsonl, .ndjson, also with .gz) or Parquet (.parquet). Each line is a
    request with "id", "chart" and what else the service's paths take. The options of the setting
    are for lines that have none. Killed at any moment, the same command goes on.
    """
    from shortway.batch.run import Batch
    from shortway.config import usable_cpus

    _check_setting(setting)
    given = Batch(source, out, setting or None, workers or usable_cpus(), scheduler, overwrite)
    with _stopping():
        sys.exit(_run(given, quiet, progress))


def _run(given: Any, quiet: bool, progress: bool | None) -> int:
    from shortway.batch.errors import CannotStart, Stopped
    from shortway.batch.progress import Progress
    from shortway.batch.run import run

    shown = sys.stderr.isatty() if progress is None else progress
    watcher = Progress(_to_screen) if shown and not quiet else None
    try:
        report = run(given, watcher)
    except (CannotStart, Stopped) as error:
        kept = f"; {GO_ON}" if isinstance(error, Stopped) else ""
        click.echo(f"Error: {error}{kept}", err=True)
        return STOPPED if isinstance(error, Stopped) else REFUSED
    finally:
        if watcher is not None:
            watcher.end()
    if not quiet:
        click.echo(_told(report, given.out))
    return FAILED if report.counts.failed else 0


def _told(report: Any, out: Path) -> str:
    """The last line on screen."""
    if report.nothing_to_do:
        return f"{out} is complete already: {report.counts}"
    earlier = f" ({report.before:,} of them by earlier runs)" if report.before else ""
    return f"{out}: {report.counts}{earlier}"


def _check_setting(setting: dict[str, Any]) -> None:
    from shortway.core.settings.setting import resolve

    with report_errors({"setting": setting}), pointer_prefix("/setting"):
        resolve(setting)


@contextmanager
def _stopping() -> Iterator[None]:
    """Ctrl-C and the system's request to stop end the batch in order, with their usual codes."""
    codes = [128 + signal.SIGINT]

    def stop(number: int, _: Any) -> None:
        codes.append(128 + number)
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    except KeyboardInterrupt:
        click.echo(f"Stopped. What is answered is kept; {GO_ON}.", err=True)
        sys.exit(codes[-1])
    finally:
        signal.signal(signal.SIGTERM, before)


def _to_screen(text: str) -> None:
    sys.stderr.write(text)
    sys.stderr.flush()
