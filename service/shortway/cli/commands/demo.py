"""``shortway demo``: the service at work on three charts."""

import sys
from pathlib import Path

import click

from shortway.cli.options import command


@command("demo")
@click.option(
    "--out",
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the scores; default: a new temporary folder.",
)
def demo_command(out: Path | None) -> None:
    """Start the service, solve the demo charts, print the result, and stop the service.

    Each chart is also written as a score in every format.
    """
    from shortway.cli.demo import run_demo

    sys.exit(run_demo(out=out))
