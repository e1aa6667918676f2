"""``shortway exercise``: a chart through the keys, printed or written as a score.

Knows click and, once called, the core's exercises.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import click

from shortway.cli.errors import pointer_prefix, report_errors
from shortway.cli.input import chart_from_argument, notes_from_text, setting_options, way_options
from shortway.cli.score import (
    ENDS,
    OUT_FILE,
    drop_none,
    render_score,
    save_score,
    score_fields,
    score_format,
    score_options,
)
from shortway.cli.table import count_noun, format_path, format_table

#: What parts the keys of a list: "C minor" is one.
_BETWEEN: Final = re.compile(r"[\s,]+(?![\s,m])")


@click.command("exercise", context_settings={"auto_envvar_prefix": "SHORTWAY"})
@click.argument("chart")
@click.option(
    "--way",
    default="fourths",
    show_default=True,
    metavar="WAY",
    help="fourths, fifths; half-steps, whole-steps, minor-thirds with -up or -down; or C,Eb,Gb.",
)
@click.option("-o", "--out", type=OUT_FILE, help=f"Write a score instead: {ENDS}.")
@setting_options
@way_options
@score_options
@click.option("--json", "as_json", is_flag=True, help="Print the wire's JSON.")
def exercise_command(
    chart: str,
    way: str,
    out: Path | None,
    setting: dict[str, Any],
    loop: bool,
    start_from: str | None,
    top_line: str,
    as_json: bool,
    **options: Any,
) -> None:
    """CHART in all twelve keys, as one path with the least motion.

    CHART is its text, a file, or - for standard input. Its key is the one that it names, else the
    one that its chords are heard in.
    """
    if out is None and (idle := drop_none(options)):
        raise click.UsageError(f"--{next(iter(idle))} is for a score: give -o as well")
    form = None if out is None else score_format(out)
    given: dict[str, Any] = {"chart": chart, "way": way, "setting": setting}
    given |= {"start_from": start_from}
    with report_errors(given):
        from shortway.services.write_exercise import write_exercise
        from shortway.wire.serializers.exercises import exercise_json

        with pointer_prefix("/chart"):
            given["chart"] = chart_from_argument(chart)
        asked = {"setting": setting, "loop": loop, "top_line": top_line}
        asked |= {"start_from": notes_from_text(start_from, "/start_from")}
        found = write_exercise({"chart": given["chart"], "way": _way(way), **asked})
        if out is not None and form is not None:
            request = {"chart": found.chart, **asked, **score_fields(options)}
            content = render_score(drop_none(request), form)
    if out is not None:
        save_score(out, content)
        return
    answer = exercise_json(found)
    if as_json:
        click.echo(json.dumps(answer, ensure_ascii=False, indent=2))
        return
    for line in format_exercise(answer):
        click.echo(line)


def _way(text: str) -> str | list[str]:
    """The wire's way: a word, or keys parted by commas or blanks, but before minor and major.

    >>> _way("fourths"), _way("C, Eb Gb"), _way("F#m"), _way("C minor, F minor")
    ('fourths', ['C', 'Eb', 'Gb'], ['F#m'], ['C minor', 'F minor'])
    """
    is_list = "," in text or text[:1].isupper()
    return [key for key in _BETWEEN.split(text) if key] if is_list else text


def format_exercise(answer: dict[str, Any]) -> Iterator[str]:
    """An exercise: its key, where each key begins and how far it is to it, then its path."""
    chart, keys = answer["chart"], answer["keys"]
    how = "as its chords say" if answer["inferred"] else "as it says"
    yield f"{chart.get('title', 'Chart')} in {answer['key']}, {how}; {count_noun(len(keys), 'key')}"
    yield ""
    rows = [
        (one["key"], str(one["measure"]), "" if one["motion"] is None else str(one["motion"]))
        for one in keys
    ]
    yield from format_table(("key", "bar", "motion into it"), rows)
    yield ""
    yield from format_path(answer["path"])
