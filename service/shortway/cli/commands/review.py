"""``shortway review``: played notes compared with the best path through a chart.

The played notes are a MIDI file, the wire's JSON, or text with the notes of a step on a line or
between bars.
"""

import json
import re
import sys
from base64 import b64encode
from pathlib import Path
from typing import Any

import click

from shortway.cli.errors import report_errors
from shortway.cli.input import is_existing_file, notes_from_text, request_from_arguments
from shortway.cli.options import chart_options, command, output_options, setting_options

MIDI_SUFFIXES = (".mid", ".midi", ".smf")
#: Entries of a text for silence, and for the step before again.
NOTHING, SAME = "-", "%"
#: What a review may fail on; each includes those before it.
FAILING = ("never", "fault", "remark")
FAILED = 1
ALIGN = ("start", "early", "tempo_map", "channels")


@command("review")
@click.argument("chart")
@click.argument("played")
@chart_options
@setting_options
@click.option("--loop", is_flag=True, help="Play the chart as a loop.")
@click.option("--pin", "pins", multiple=True, metavar="STEP:WHAT", help="As for solve.")
@click.option("--start", type=float, help="MIDI: quarter notes before the chart begins.")
@click.option("--early", type=float, help="MIDI: quarter notes that a chord may be early.")
@click.option("--tempo-map", metavar="AT:TEMPO", help="MIDI without a click: 0:132,16:126.")
@click.option("--channel", "channels", type=int, multiple=True, help="MIDI: a channel to read.")
@click.option(
    "--fail-on",
    type=click.Choice(FAILING),
    default=FAILING[0],
    show_default=True,
    help="Exit with code 1 where a finding is at least this severe.",
)
@output_options
def review_command(played: str, output: str, fail_on: str, **given: Any) -> None:
    """Review PLAYED over CHART: findings at each step, and the distance from the best path.

    PLAYED is a MIDI file, a JSON file, or text (a file, - or the argument itself) with the notes of
    each step on a line or between bars: "F3 A3 C4 E4 | F3 A3 B3 E4 | - | %", where - is silence and
    % repeats the step before.
    """
    align = {name: given.pop(name) for name in ALIGN}
    with report_errors(given):
        from shortway.cli.brief import brief_review
        from shortway.cli.review_table import format_review
        from shortway.cli.table import print_answer
        from shortway.services.review import review_playing
        from shortway.wire.schemas.reviews import ReviewRequestSchema
        from shortway.wire.serializers.reviews import review_json
        from shortway.wire.validation import validated

        request = request_from_arguments(given)
        if played.lower().endswith(MIDI_SUFFIXES):
            given |= {"midi_file": b64encode(_bytes(played)).decode(), "align": _align(align)}
        else:
            given |= {"played": _notes(played)}
        found = review_playing(validated(ReviewRequestSchema(), given | request))
    took = found.performance
    answer = review_json(found.review, None if took is None else (took.taken, took.left_out))
    print_answer(answer, output, format_review(answer), brief_review(answer))
    failing = FAILING[1 : FAILING.index(fail_on) + 1]
    if any(f["severity"] in failing for step in answer["steps"] for f in step["findings"]):
        sys.exit(FAILED)


def _bytes(name: str) -> bytes:
    from shortway.core.errors import MidiError

    try:
        return Path(name).read_bytes()
    except OSError as error:
        detail = f"cannot read the MIDI file {name!r}: {error.strerror}"
        raise MidiError.at("/midi_file", detail) from None


def _align(options: dict[str, Any]) -> dict[str, Any]:
    """The wire's alignment from the options."""
    given = {name: options[name] for name in ALIGN if options[name] not in (None, ())}
    if "channels" in given:
        given["channels"] = list(given["channels"])
    if "tempo_map" in given:
        given["tempo_map"] = tempo_map_from_text(given["tempo_map"])
    return given


def tempo_map_from_text(text: str) -> list[dict[str, float]]:
    """The wire's tempo map of ``AT:TEMPO,…``.

    Raises SettingError if an entry is not two numbers.

    >>> tempo_map_from_text("0:132,16:126.5")
    [{'at': 0.0, 'tempo': 132.0}, {'at': 16.0, 'tempo': 126.5}]
    """
    from shortway.core.errors import SettingError

    entries = []
    for index, entry in enumerate(text.split(",")):
        at, _, tempo = entry.partition(":")
        try:
            entries.append({"at": float(at), "tempo": float(tempo)})
        except ValueError:
            expected = "AT:TEMPO, for example 0:132,16:126"
            where = f"/align/tempo_map/{index}"
            raise SettingError.at(
                where, f"cannot read the tempo {entry!r}", expected=expected
            ) from None
    return entries


def _notes(argument: str) -> Any:
    """The played notes: a JSON file, a text file, standard input or the argument itself."""
    from shortway.core.errors import PlayedError

    try:
        text = _text(argument)
    except UnicodeDecodeError:
        raise PlayedError.at("/played", f"{argument} is not UTF-8 text") from None
    if not text.lstrip().startswith("["):
        return played_from_text(text)
    try:
        return json.loads(text)
    except (json.JSONDecodeError, RecursionError) as error:
        raise PlayedError.at("/played", f"cannot read the played notes as JSON: {error}") from None


def _text(argument: str) -> str:
    if argument == "-":
        return sys.stdin.buffer.read().decode("utf-8-sig")
    path = Path(argument)
    return path.read_bytes().decode("utf-8-sig") if is_existing_file(path) else argument


def played_from_text(text: str) -> list[list[int]]:
    """The notes of each step, from lines or from what is between bars.

    >>> played_from_text("| F3 A3 | 53,57,59 | % | - |")
    [[53, 57], [53, 57, 59], [53, 57, 59], []]
    """
    body = text.strip()
    if "|" in body:
        parts = re.split(r"\|", " ".join(body.split()).strip("|"))
    else:
        parts = [line for line in body.splitlines() if line.strip()]
    steps: list[list[int]] = []
    for part in parts:
        words = part.replace(",", " ").split()
        if words == [SAME] and steps:
            steps.append(steps[-1])
        else:
            words = [] if words == [NOTHING] else words
            steps.append(notes_from_text(" ".join(words), f"/played/{len(steps)}") or [])
    return steps
