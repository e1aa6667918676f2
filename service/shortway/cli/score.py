"""``shortway score``: a chart's best path into a file of notes, sound or a picture.

Knows click and, once called, the scores. The end of the file's name says which form it takes.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from shortway.cli.errors import REFUSED, pointer_prefix, report_errors
from shortway.cli.input import (
    add_options,
    chart_from_argument,
    notes_from_text,
    path_options,
    pin_from_text,
    setting_options,
)

ENDS = ".musicxml, .mxl, .mid or .svg"
OUT_FILE = click.Path(path_type=Path, dir_okay=False)
_SHOWN = ("held", "symbols", "degrees", "picture", "width")

SCORE_OPTIONS = (
    click.option("--title", metavar="TEXT", help="By default the chart's own."),
    click.option("--tempo", type=click.FloatRange(20, 400), help="Quarter notes a minute; 120."),
    click.option("--rhythm", metavar="NAME", help="When chords are struck; see shortway rhythms."),
    click.option("--swing", type=click.FloatRange(1, 4), help="Longer eighth over shorter; 1."),
    click.option("--held", type=click.Choice(["tied", "struck"]), help="Notes that stay; tied."),
    click.option("--symbols/--no-symbols", default=None, help="Chord symbols over the staff."),
    click.option("--degrees/--no-degrees", default=None, help="Each note's degree under it."),
    click.option(
        "--picture",
        type=click.Choice(["staff", "keyboards", "lines"]),
        help="What an .svg shows; staff.",
    ),
    click.option("--width", type=click.FloatRange(240, 4000), help="Of an .svg, px; 960."),
)
"""The options of a score, whatever is written."""


def score_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give `command` what a score may look and sound like, as options."""
    return add_options(command, SCORE_OPTIONS)


@click.command("score", context_settings={"auto_envvar_prefix": "SHORTWAY"})
@click.argument("chart")
@click.option("-o", "--out", required=True, type=OUT_FILE, help=f"The file to write: {ENDS}.")
@score_options
@setting_options
@path_options
def score_command(
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
    form = score_format(out)
    fields = {"chart": chart, "setting": setting, "start_from": start_from, "pins": list(pins)}
    given = drop_none(fields | score_fields(options))
    with report_errors(given):
        given |= {"start_from": notes_from_text(start_from, "/start_from")}
        given |= {"pins": [pin_from_text(pin, index) for index, pin in enumerate(pins)]}
        with pointer_prefix("/chart"):
            given["chart"] = chart_from_argument(chart)
        content = render_score(given, form)
    save_score(out, content)


def score_format(out: Path) -> str:
    """The form of a score that a file's name ends as, or the end of the command."""
    from shortway.services.write_score import form_of_name

    form = form_of_name(out.name)
    if form is None:
        click.echo(f"Error: {out.name} is no name of a score: it ends in {ENDS}", err=True)
        sys.exit(REFUSED)
    return form


def render_score(given: dict[str, Any], form: str) -> bytes:
    """The score of a request of the wire."""
    from shortway.services import write_score as scores

    return scores.write_score(given, form)[1]


def save_score(out: Path, content: bytes) -> None:
    """Write a score and say so, or why not."""
    try:
        out.write_bytes(content)
    except OSError as error:
        click.echo(f"Error: {out} cannot be written: {error.strerror}", err=True)
        sys.exit(REFUSED)
    click.echo(f"{out}: {len(content):,} bytes")


def score_fields(options: dict[str, Any]) -> dict[str, Any]:
    """The wire's fields of a score from the options, others among them left as they are."""
    fields = {name: value for name, value in options.items() if name not in (*_SHOWN, "swing")}
    if options["swing"] is not None:
        fields["rhythm"] = {"pattern": options["rhythm"] or "held", "swing": options["swing"]}
    return fields | {"show": drop_none({name: options[name] for name in _SHOWN})}


def drop_none(fields: dict[str, Any]) -> dict[str, Any]:
    """Those that are given."""
    return {name: value for name, value in fields.items() if value is not None}
