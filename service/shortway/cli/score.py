"""``shortway score``: a chart's best path into a file of notes, sound or a picture.

Knows click and, once called, the scores. The end of the file's name says which form it takes.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from shortway.cli.errors import REFUSED, below, reported
from shortway.cli.input import path_options, read_chart, read_notes, read_pin, setting_options

_ENDS = ".musicxml, .mxl, .mid or .svg"


@click.command(context_settings={"auto_envvar_prefix": "SHORTWAY"})
@click.argument("chart")
@click.option(
    "-o",
    "--out",
    required=True,
    type=click.Path(path_type=Path, dir_okay=False),
    help=f"The file to write: {_ENDS}.",
)
@click.option("--title", metavar="TEXT", help="By default the chart's own.")
@click.option("--tempo", type=click.FloatRange(20, 400), help="Quarter notes a minute; 120.")
@click.option("--rhythm", metavar="NAME", help="When chords are struck; see shortway rhythms.")
@click.option("--swing", type=click.FloatRange(1, 4), help="Longer eighth over shorter; 1.")
@click.option("--held", type=click.Choice(["tied", "struck"]), help="Notes that stay; tied.")
@click.option("--symbols/--no-symbols", default=None, help="Chord symbols over the staff.")
@click.option("--degrees/--no-degrees", default=None, help="Each note's degree under its staff.")
@click.option(
    "--picture",
    type=click.Choice(["staff", "keyboards", "lines"]),
    help="What an .svg shows; staff.",
)
@click.option("--width", type=click.FloatRange(240, 4000), help="Of an .svg, px; 960.")
@setting_options
@path_options
def score(
    chart: str,
    out: Path,
    setting: dict[str, Any],
    start_from: str | None,
    pins: tuple[str, ...],
    **options: Any,
) -> None:
    """Write the best path through CHART as a score: notes, sound or a picture.

    CHART is its text, a file, or - for standard input.
    """
    from shortway.batch import scores

    form = scores.form_of_name(out.name)
    if form is None:
        click.echo(f"Error: {out.name} is no name of a score: it ends in {_ENDS}", err=True)
        sys.exit(REFUSED)
    given = _request(chart, setting, start_from, pins, options)
    with reported(given):
        given |= {"start_from": read_notes(start_from, "/start_from")}
        given |= {"pins": [read_pin(pin, index) for index, pin in enumerate(pins)]}
        with below("/chart"):
            given["chart"] = read_chart(chart)
        _, content = scores.scored(given, form)
    try:
        out.write_bytes(content)
    except OSError as error:
        click.echo(f"Error: {out} cannot be written: {error.strerror}", err=True)
        sys.exit(REFUSED)
    click.echo(f"{out}: {len(content):,} bytes")


def _request(
    chart: str,
    setting: dict[str, Any],
    start_from: str | None,
    pins: tuple[str, ...],
    options: dict[str, Any],
) -> dict[str, Any]:
    """The wire's request as far as it is typed; what is not given is left out."""
    shown = {name: options.pop(name) for name in ("held", "symbols", "degrees", "picture", "width")}
    fields = {"chart": chart, "setting": setting, "start_from": start_from, "pins": list(pins)}
    swing, rhythm = options.pop("swing"), options["rhythm"]
    if swing is not None:
        options["rhythm"] = {"pattern": rhythm or "held", "swing": swing}
    fields |= options | {"show": {name: v for name, v in shown.items() if v is not None}}
    return {name: value for name, value in fields.items() if value is not None}
