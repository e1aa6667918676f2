"""The command ``shortway`` and its list of subcommands.

A command imports what it needs when it runs, so that solving a chart loads neither the web service
nor the client. Every option can be set in the environment as ``SHORTWAY_`` and its name in
capitals; the command line has priority.
"""

import os
import signal
import sys
from typing import Any

import click

from shortway import __version__
from shortway.cli.commands.batch import batch_command
from shortway.cli.commands.chords import chords_command, voicings_command
from shortway.cli.commands.demo import demo_command
from shortway.cli.commands.exercise import exercise_command
from shortway.cli.commands.lists import families_command, presets_command, rhythms_command
from shortway.cli.commands.review import review_command
from shortway.cli.commands.score import score_command
from shortway.cli.commands.server import serve_command, token_command
from shortway.cli.commands.solve import solve_command

COMMANDS = (
    solve_command, score_command, chords_command, voicings_command, families_command,
    rhythms_command, presets_command, exercise_command, review_command, batch_command,
    serve_command, token_command, demo_command,
)  # fmt: skip


class _Commands(click.Group):
    """A group whose commands end with 130 on Ctrl-C, from their first moment on."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command that `ctx` names."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            sys.exit(128 + signal.SIGINT)


def _print_version(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        from shortway.core.shortest_path.points import implementation

        click.echo(f"shortway, version {__version__}, search: {implementation()}")
        ctx.exit()


@click.group(
    cls=_Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.option(
    "--version",
    is_flag=True,
    callback=_print_version,
    is_eager=True,
    expose_value=False,
    help="Show the version and exit.",
)
@click.pass_context
def main(ctx: click.Context) -> None:
    """The smoothest playable keyboard voicings for a chord chart."""
    if os.environ.get("NO_COLOR"):
        ctx.color = False


for subcommand in COMMANDS:
    main.add_command(subcommand)
