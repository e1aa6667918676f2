"""The command line: ``shortway serve, solve, score, chords, voicings, families, batch`` ….

Knows click. Everything else is loaded by the command that needs it, so that solving a chart loads
neither the web service nor the client. Any option may also come from the environment as
``SHORTWAY_`` and its name in capitals; what stands on the command line wins.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click

from shortway import __version__
from shortway.cli.batch import batch_command
from shortway.cli.errors import REFUSED, pointer_prefix, report_errors
from shortway.cli.exercise import exercise_command
from shortway.cli.input import (
    chart_from_argument,
    notes_from_text,
    path_options,
    pin_from_text,
    setting_options,
)
from shortway.cli.review import review_command
from shortway.cli.score import score_command

ENVIRONMENT = {"auto_envvar_prefix": "SHORTWAY"}
as_json = click.option("--json", "as_json", is_flag=True, help="Print the wire's JSON.")


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="shortway")
def main() -> None:
    """The smoothest playable keyboard voicings for a chord chart."""


main.add_command(batch_command)
main.add_command(exercise_command)
main.add_command(review_command)
main.add_command(score_command)


@main.command("serve")
@click.option("--host", help="Where to listen: SHORTWAY_HOST, or 127.0.0.1.")
@click.option("--port", type=click.IntRange(1, 65535), help="SHORTWAY_PORT, or 8000.")
@click.option("--workers", type=click.IntRange(1, 256), help="Processes; by default one a CPU.")
@click.option("--open", "is_open", is_flag=True, help="Listen beyond this machine without tokens.")
@click.option("--show-settings", is_flag=True, help="Print every setting, and run nothing.")
def serve_command(
    host: str | None, port: int | None, workers: int | None, is_open: bool, show_settings: bool
) -> None:
    """Run the HTTP service until told to stop.

    All its settings are variables of the environment; --show-settings lists them.
    """
    from shortway import config as settings

    try:
        given = settings.load_config(
            os.environ, host=host, port=port, workers=workers, open=is_open or None
        )
        if show_settings:
            for line in settings.describe_config(given):
                click.echo(line)
            return
        from shortway.serving.serve import run_server as run

        run(given)
    except settings.ConfigurationError as error:
        click.echo(f"Error: {error}", err=True)
        sys.exit(REFUSED)


@main.command("token")
@click.argument("name")
def token_command(name: str) -> None:
    """Make a token for NAME, who may then ask a service that has SHORTWAY_TOKENS_FILE.

    The line for that file goes to standard output, the token itself to standard error, once: it is
    kept nowhere. A service that runs takes the new line as soon as it stands in the file.
    """
    from shortway.api.middleware import token_store as tokens

    if not tokens.NAME.fullmatch(name):
        click.echo("Error: a name is 1 to 64 letters, digits, dots, dashes, underscores", err=True)
        sys.exit(REFUSED)
    made = tokens.generate_token()
    click.echo(made, err=True)
    click.echo(tokens.token_line(name, made))


@main.command("solve", context_settings=ENVIRONMENT)
@click.argument("chart")
@setting_options
@path_options
@click.option("--alternatives", default=0, metavar="N", help="Further paths, the best first.")
@click.option("--differs-in", default=1, metavar="N", help="Steps in which each is another.")
@as_json
def solve_command(
    chart: str,
    setting: dict[str, Any],
    loop: bool,
    start_from: str | None,
    pins: tuple[str, ...],
    as_json: bool,
    **options: Any,
) -> None:
    """The path with the least motion through CHART: its text, a file, or - for standard input.

    A chart is text such as "| Dm7 | G7 | Cmaj7 | % |", the JSON form of the service, or a lead
    sheet (MusicXML or .mxl).
    """
    given: dict[str, Any] = {"chart": chart, "setting": setting, "pins": list(pins)}
    given |= {"start_from": start_from}
    with report_errors(given):
        from shortway.cli.table import format_path
        from shortway.services.read_chart import read_chart
        from shortway.services.solve_path import solve_path
        from shortway.wire.serializers.paths import path_json

        with pointer_prefix("/chart"):
            given["chart"] = chart_from_argument(chart)
            read = read_chart(given["chart"]).chart
        asked = {"pins": [pin_from_text(pin, i) for i, pin in enumerate(pins)], "loop": loop}
        asked |= {"start_from": notes_from_text(start_from, "/start_from")}
        path = solve_path({**given, **options, **asked, "chart": read})
    answer = path_json(path)
    _print(answer, as_json, format_path(answer, _heading(read.title, read.key, read.meter)))


@main.command("chords", context_settings=ENVIRONMENT)
@click.argument("symbols", nargs=-1, required=True)
@as_json
def chords_command(symbols: tuple[str, ...], as_json: bool) -> None:
    """What chord SYMBOLS stand for: spelled notes, degrees, tensions."""
    from shortway.cli.errors import print_error
    from shortway.cli.table import format_chords
    from shortway.core.errors import SymbolError
    from shortway.services.parse_chords import parse_chords
    from shortway.wire.serializers.chords import chords_json

    found = list(parse_chords(symbols))
    for _, chord in found:
        if isinstance(chord, SymbolError):
            print_error(chord, {"symbols": list(symbols)})
    answers = chords_json(found)["chords"]
    good = [answer for answer in answers if "problem" not in answer]
    _print({"chords": answers}, as_json, format_chords(good) if good else ())
    sys.exit(0 if len(good) == len(answers) else 2)


@main.command("voicings", context_settings=ENVIRONMENT)
@click.argument("symbol")
@setting_options
@click.option("--after", metavar="NOTES", help="Rank by motion from these: F3,B3,E4 or 53,59,64.")
@click.option("--over", metavar="NOTES", help="The melody over it: E5,G5; see --melody.")
@click.option("--ceiling", metavar="NOTE", help="Every note stays below this one.")
@click.option("--top", metavar="NOTE", help="The note on top.")
@click.option("--colours", metavar="DEGREES", help="What may be added to the symbol: b9,b13.")
@click.option("--limit", default=100, show_default=True, type=click.IntRange(1, 1000))
@click.option("--offset", default=0, show_default=True, type=click.IntRange(0))
@as_json
def voicings_command(
    symbol: str,
    setting: dict[str, Any],
    after: str | None,
    over: str | None,
    ceiling: str | None,
    top: str | None,
    colours: str | None,
    limit: int,
    offset: int,
    as_json: bool,
) -> None:
    """The voicings of a chord SYMBOL that the setting allows."""
    given = {"symbol": symbol, "setting": setting, "after": after}
    given |= {"melody": over, "ceiling": ceiling, "top": top, "colours": colours}
    with report_errors(given):
        from shortway.cli.table import format_voicings
        from shortway.services.list_voicings import list_voicings
        from shortway.wire.serializers.voicings import listing_json

        asked: dict[str, Any] = {"after": notes_from_text(after, "/after")}
        asked |= {"melody": notes_from_text(over, "/melody")}
        asked |= {"colours": colours and colours.replace(",", " ").split()}
        found = list_voicings({**given, **asked, "limit": limit, "offset": offset})
        answer = listing_json(found)
    _print(answer, as_json, format_voicings(answer, offset))


@main.command("families", context_settings=ENVIRONMENT)
@as_json
def families_command(as_json: bool) -> None:
    """The families of voicings."""
    from shortway.cli.table import format_families
    from shortway.core.settings.families import FAMILIES
    from shortway.wire.serializers.families import families_json

    answer = families_json(FAMILIES.values())
    _print(answer, as_json, format_families(answer["families"]))


@main.command("rhythms", context_settings=ENVIRONMENT)
@as_json
def rhythms_command(as_json: bool) -> None:
    """The comping patterns, for shortway score --rhythm."""
    from shortway.cli.table import format_rhythms
    from shortway.core.rhythm.patterns import PATTERNS
    from shortway.wire.serializers.rhythms import rhythms_json

    answer = rhythms_json(PATTERNS.values())
    _print(answer, as_json, format_rhythms(answer["rhythms"]))


@main.command("settings", context_settings=ENVIRONMENT)
@as_json
def settings_command(as_json: bool) -> None:
    """The settings by situation, for --preset."""
    from shortway.cli.table import format_presets
    from shortway.core.settings.presets import PRESETS
    from shortway.wire.serializers.settings import presets_json

    answer = presets_json(PRESETS.values())
    _print(answer, as_json, format_presets(answer["settings"]))


@main.command("demo", context_settings=ENVIRONMENT)
@click.option(
    "--out",
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Where scores are written; by default a new temporary folder.",
)
def demo_command(out: Path | None) -> None:
    """Start the service, put the demo charts through it, print the result, and stop it.

    Each chart is also written as a score in every form.
    """
    from shortway.cli.demo import run_demo

    sys.exit(run_demo(out=out))


def _print(answer: dict[str, Any], as_json: bool, lines: Iterable[str]) -> None:
    if as_json:
        click.echo(json.dumps(answer, ensure_ascii=False, indent=2))
        return
    for line in lines:
        click.echo(line)


def _heading(title: str | None, key: str | None, meter: tuple[int, int]) -> str:
    told = [title or "Chart", f"key {key}" if key else None, f"{meter[0]}/{meter[1]}"]
    return ", ".join(part for part in told if part)
