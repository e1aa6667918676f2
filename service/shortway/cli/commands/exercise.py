"""``shortway exercise``: a chart through the keys, printed or written as a score."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from shortway.cli.commands.score import (
    drop_none,
    format_of_file,
    render_score,
    save_score,
    score_fields,
)
from shortway.cli.errors import report_errors
from shortway.cli.input import request_from_arguments
from shortway.cli.options import (
    chart_options,
    command,
    output_options,
    setting_options,
    way_options,
)
from shortway.cli.score_options import out_options, score_options

if TYPE_CHECKING:
    from shortway.core.exercises.exercise import Exercise

#: Separates the keys of a list; "C minor" is one key.
_SEPARATOR: Final = re.compile(r"[\s,]+(?![\s,m])")
_REQUEST: Final = (
    "chart", "key_order", "keys", "formula", "setting", "loop", "start_from", "top_line",
)  # fmt: skip


@command("exercise")
@click.argument("chart")
@click.option(
    "--key-order",
    metavar="NAME",
    help="fourths (default), fifths; half-steps, whole-steps, minor-thirds with -up or -down.",
)
@click.option("--keys", metavar="KEYS", help="Keys in place of an order: C,Eb,Gb.")
@click.option(
    "--formula",
    default="same",
    show_default=True,
    metavar="WHICH",
    help="same: the same voicings in every key, transposed; best: whatever costs least.",
)
@out_options
@chart_options
@setting_options
@way_options
@score_options
@output_options
def exercise_command(out: Path | None, force: bool, output: str, **options: Any) -> None:
    """Solve CHART in all twelve keys as one path.

    CHART is its text, a file, or - for standard input. If it names no key, the key is estimated
    from its chords. With -o, a score is written instead of the answer, each key on a new
    page.
    """
    given = {name: options.pop(name) for name in _REQUEST}
    if out is None and (unused := drop_none(options)):
        raise click.UsageError(f"--{next(iter(unused))} needs a score: add -o")
    score_format = format_of_file(out, force) if out else None
    with report_errors(given):
        from shortway.cli.brief import brief_path
        from shortway.cli.table import format_exercise, print_answer
        from shortway.services.write_exercise import write_exercise
        from shortway.wire.serializers.exercises import exercise_json

        request = request_from_arguments(given) | {"keys": _keys(given["keys"])}
        found = write_exercise(request)
        if score_format:
            del request["key_order"], request["keys"], request["formula"]
            options["page_breaks"] = options["page_breaks"] or "sections"
            request |= {"chart": found.chart, **_pinned(found), **score_fields(options)}
            content = render_score(drop_none(request), score_format)
    if out is not None:
        save_score(out, content)
        return
    answer = exercise_json(found)
    print_answer(answer, output, format_exercise(answer), brief_path(answer["path"]))


def _pinned(found: Exercise) -> dict[str, Any]:
    """What makes a score play the voicings that were found, and no others."""
    from shortway.core.settings.setting import setting_json

    sounding = ((k, s.voicing) for k, s in enumerate(found.path.steps) if s.voicing is not None)
    pins = [{"step": k, "midi_notes": list(voicing.midi_notes)} for k, voicing in sounding]
    return {"pins": pins, "setting": setting_json(found.path.setting)}


def _keys(text: str | None) -> list[str] | None:
    """The keys of a list.

    >>> _keys("C, Eb Gb"), _keys("C minor, F minor")
    (['C', 'Eb', 'Gb'], ['C minor', 'F minor'])
    """
    return None if text is None else [key for key in _SEPARATOR.split(text) if key]
