"""``shortway score``: the best path through a chart as notes, sound or a picture.

The suffix of the file's name chooses the format.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from shortway.cli.errors import exit_with_error, report_errors
from shortway.cli.input import request_from_arguments
from shortway.cli.options import add_options, command, path_options, setting_options

ENDS = ".musicxml, .mxl, .mid or .svg"
OUT_FILE = click.Path(path_type=Path, dir_okay=False)
_SHOWN = ("held", "symbols", "degrees", "picture", "width")

SCORE_OPTIONS = (
    click.option("--title", metavar="TEXT", help="Default: the chart's title."),
    click.option("--tempo", type=click.FloatRange(20, 400), help="Quarter notes a minute; 120."),
    click.option("--rhythm", metavar="NAME", help="Comping rhythm; see shortway rhythms."),
    click.option("--swing", type=click.FloatRange(1, 4), help="Longer eighth over shorter; 1."),
    click.option("--held", type=click.Choice(["tied", "struck"]), help="Common notes; tied."),
    click.option("--symbols/--no-symbols", default=None, help="Chord symbols over the staff."),
    click.option("--degrees/--no-degrees", default=None, help="The degree under each note."),
    click.option(
        "--picture",
        type=click.Choice(["staff", "keyboards", "lines"]),
        help="Picture of an .svg; staff.",
    ),
    click.option("--width", type=click.FloatRange(240, 4000), help="Width of an .svg, px; 960."),
)
"""The options of a score in any format."""


def score_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options of a score."""
    return add_options(function, SCORE_OPTIONS)


@command("score")
@click.argument("chart")
@click.option("-o", "--out", required=True, type=OUT_FILE, help=f"The file to write: {ENDS}.")
@score_options
@setting_options
@path_options
def score_command(out: Path, **options: Any) -> None:
    """Write the best path through CHART as a score: notes, sound or a picture.

    CHART is its text, a file, or - for standard input.
    """
    score_format = format_of_file(out)
    given = drop_none(score_fields(options))
    with report_errors(given):
        content = render_score(request_from_arguments(given), score_format)
    save_score(out, content)


def format_of_file(out: Path) -> str:
    """The format for a file's name; exits with code 2 if there is none."""
    from shortway.services.write_score import form_of_name

    found = form_of_name(out.name)
    if found is None:
        exit_with_error(f"cannot write {out.name}: the name must end in {ENDS}")
    return found


def render_score(request: dict[str, Any], score_format: str) -> bytes:
    """The score of a request of the wire."""
    from shortway.services.write_score import write_score

    return write_score(request, score_format)[1]


def save_score(out: Path, content: bytes) -> None:
    """Write a score and print its size; exits with code 2 if it cannot be written."""
    try:
        out.write_bytes(content)
    except OSError as error:
        exit_with_error(f"cannot write {out}: {error.strerror}")
    click.echo(f"{out}: {len(content):,} bytes")


def score_fields(options: dict[str, Any]) -> dict[str, Any]:
    """The wire's fields of a score from the options; other fields stay as they are."""
    fields = {name: value for name, value in options.items() if name not in (*_SHOWN, "swing")}
    if options["swing"] is not None:
        fields["rhythm"] = {"pattern": options["rhythm"] or "held", "swing": options["swing"]}
    return fields | {"show": drop_none({name: options[name] for name in _SHOWN})}


def drop_none(fields: dict[str, Any]) -> dict[str, Any]:
    """The fields with a value."""
    return {name: value for name, value in fields.items() if value is not None}
