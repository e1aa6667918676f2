"""``shortway chords`` and ``shortway voicings``: what symbols mean, and how they can be played."""

import sys
from typing import Any

import click

from shortway.cli.errors import REFUSED, print_error, report_errors
from shortway.cli.input import notes_from_text
from shortway.cli.options import command, output_options, setting_options


@command("chords")
@click.argument("symbols", nargs=-1, required=True)
@output_options
def chords_command(symbols: tuple[str, ...], output: str) -> None:
    """Read chord SYMBOLS: spelled notes, degrees, tensions."""
    from shortway.cli.brief import brief_chords
    from shortway.cli.table import format_chords, print_answer
    from shortway.core.errors import SymbolError
    from shortway.services.parse_chords import parse_chords
    from shortway.wire.serializers.chords import chords_json

    found = list(parse_chords(symbols))
    for _, chord in found:
        if isinstance(chord, SymbolError):
            print_error(chord, {"symbols": list(symbols)})
    answer = chords_json(found)
    good = [each["chord"] for each in answer["chords"] if each["chord"] is not None]
    print_answer(answer, output, format_chords(good) if good else (), brief_chords(good))
    sys.exit(0 if len(good) == len(found) else REFUSED)


@command("voicings")
@click.argument("symbol")
@setting_options
@click.option("--after", metavar="NOTES", help="Rank by motion from: F3,B3,E4 or 53,59,64.")
@click.option("--over", metavar="NOTES", help="Melody notes: E5,G5; see --melody.")
@click.option("--ceiling", metavar="NOTE", help="All notes are below this one.")
@click.option("--top", metavar="NOTE", help="The top note.")
@click.option("--colours", metavar="DEGREES", help="Degrees that may be added: b9,b13.")
@click.option("--limit", default=100, show_default=True, type=click.IntRange(1, 1000))
@click.option("--offset", default=0, show_default=True, type=click.IntRange(0))
@output_options
def voicings_command(
    output: str, after: str | None, over: str | None, colours: str | None, **given: Any
) -> None:
    """List the voicings of a chord SYMBOL."""
    given |= {"after": after, "melody": over, "colours": colours}
    with report_errors(given):
        from shortway.cli.brief import brief_voicings
        from shortway.cli.table import format_voicings, print_answer
        from shortway.services.list_voicings import list_voicings
        from shortway.wire.serializers.voicings import listing_json

        request = given | {
            "after": notes_from_text(after, "/after"),
            "melody": over and over.replace(",", " ").split(),
            "colours": colours and colours.replace(",", " ").split(),
        }
        answer = listing_json(list_voicings(request))
    print_answer(answer, output, format_voicings(answer, given["offset"]), brief_voicings(answer))
