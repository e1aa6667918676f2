"""``shortway score``: the best path through a chart as notes, sound or a picture.

The suffix of the file's name chooses the format; standard output gets MusicXML.
"""

import json
import sys
from dataclasses import fields
from pathlib import Path
from typing import Any

import click

from shortway.cli.errors import exit_with_error, report_errors
from shortway.cli.input import request_from_arguments
from shortway.cli.options import chart_options, command, path_options, setting_options
from shortway.cli.score_options import ENDS, out_options, score_options
from shortway.scores.display import ScoreDisplay

STDOUT = Path("-")
EVENTS = "events"
_SHOWN = tuple(field.name for field in fields(ScoreDisplay))


@command("score")
@click.argument("chart")
@out_options
@score_options
@chart_options
@setting_options
@path_options
def score_command(out: Path | None, force: bool, **options: Any) -> None:
    """Write the best path through CHART as a score: notes, sound or a picture.

    CHART is its text, a file, or - for standard input. A .json file gets timed events in seconds.
    """
    if out is None:
        raise click.UsageError("-o is required: the file to write, or - for standard output")
    score_format = format_of_file(out, force)
    given = drop_none(score_fields(options))
    with report_errors(given):
        content = render_score(request_from_arguments(given), score_format)
    save_score(out, content)


def format_of_file(out: Path, force: bool) -> str:
    """The format for a file's name; exits with code 2 if there is none, or if the file exists."""
    from shortway.scores.formats import form_of_name

    if out == STDOUT:
        return "musicxml"
    if out.exists() and not force:
        exit_with_error(f"{out} exists: --force replaces it")
    found = EVENTS if out.suffix.lower() == ".json" else form_of_name(out.name)
    if found is None:
        exit_with_error(f"cannot write {out.name}: the name must end in {ENDS}")
    return found


def render_score(request: dict[str, Any], score_format: str) -> bytes:
    """The score, or the timed events, of a request of the wire."""
    from shortway.services.write_score import music_of, write_score

    if score_format == EVENTS:
        from shortway.wire.serializers.performances import performance_json

        return json.dumps(performance_json(music_of(request)), ensure_ascii=False).encode() + b"\n"
    return write_score(request, score_format)[1]


def save_score(out: Path, content: bytes) -> None:
    """Write a score and print its size; exits with code 2 if it cannot be written."""
    if out == STDOUT:
        sys.stdout.buffer.write(content)
        return
    try:
        out.write_bytes(content)
    except OSError as error:
        exit_with_error(f"cannot write {out}: {error.strerror}")
    click.echo(f"{out}: {len(content):,} bytes")


def score_fields(options: dict[str, Any]) -> dict[str, Any]:
    """The wire's fields of a score from the options; other fields stay as they are."""
    others = {name: value for name, value in options.items() if name not in _SHOWN}
    return others | {"show": drop_none({name: options[name] for name in _SHOWN})}


def drop_none(fields: dict[str, Any]) -> dict[str, Any]:
    """The fields with a value."""
    return {name: value for name, value in fields.items() if value is not None}
