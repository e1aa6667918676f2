"""``shortway review``: what was played over a chart, judged and compared.

Knows click. What was played is a MIDI file, the wire's JSON, or text: the notes of a step on a
line, or between bars.
"""

from __future__ import annotations

import json
import re
import sys
from base64 import b64encode
from pathlib import Path
from typing import Any

import click

from shortway.cli.errors import pointer_prefix, report_errors
from shortway.cli.input import chart_from_argument, is_existing_file, pin_from_text, setting_options

MIDI_SUFFIXES = (".mid", ".midi", ".smf")
#: Entries of a text that stand for nothing played, and for the same as before.
NOTHING, SAME = "-", "%"
ALIGN = ("start", "early", "tempo_map", "channels")


@click.command("review", context_settings={"auto_envvar_prefix": "SHORTWAY"})
@click.argument("chart")
@click.argument("played")
@setting_options
@click.option("--loop", is_flag=True, help="The form is played round and round.")
@click.option("--pin", "pins", multiple=True, metavar="STEP:WHAT", help="As for solve.")
@click.option("--start", type=float, help="MIDI: quarter notes before the chart begins.")
@click.option("--early", type=float, help="MIDI: quarter notes by which a chord may come early.")
@click.option("--tempo-map", metavar="AT:TEMPO", help="MIDI without a click: 0:132,16:126.")
@click.option("--channel", "channels", type=int, multiple=True, help="MIDI: one that counts.")
@click.option("--json", "as_json", is_flag=True, help="Print the wire's JSON.")
def review_command(
    chart: str,
    played: str,
    setting: dict[str, Any],
    loop: bool,
    pins: tuple[str, ...],
    as_json: bool,
    **align: Any,
) -> None:
    """What PLAYED is worth over CHART: findings step by step, and how far from the best path.

    PLAYED is a MIDI file, a JSON file, or text (a file, - or the argument itself) with the notes of
    each step on a line or between bars: "F3 A3 C4 E4 | F3 A3 B3 E4 | - | %", where - is nothing
    played and % the same again.
    """
    given: dict[str, Any] = {"chart": chart, "setting": setting, "pins": list(pins)}
    with report_errors(given):
        from shortway.cli.review_lines import format_review
        from shortway.services.review import review_playing
        from shortway.wire.schemas.reviews import ReviewRequestSchema
        from shortway.wire.serializers.reviews import review_json
        from shortway.wire.validation import validated

        with pointer_prefix("/chart"):
            given["chart"] = chart_from_argument(chart)
        if played.lower().endswith(MIDI_SUFFIXES):
            notes = {"midi": b64encode(_bytes(played)).decode(), "align": _align(align)}
        else:
            notes = {"played": _notes(played)}
        given |= {
            **notes,
            "loop": loop,
            "pins": [pin_from_text(pin, i) for i, pin in enumerate(pins)],
        }
        found = review_playing(validated(ReviewRequestSchema(), given))
    took = found.performance
    answer = review_json(found.review, None if took is None else (took.taken, took.left_out))
    lines = [json.dumps(answer, ensure_ascii=False, indent=2)] if as_json else format_review(answer)
    for line in lines:
        click.echo(line)


def _bytes(name: str) -> bytes:
    from shortway.core.errors import MidiError

    try:
        return Path(name).read_bytes()
    except OSError as error:
        detail = f"the MIDI file {name!r} cannot be read: {error.strerror}"
        raise MidiError.at("/midi", detail) from None


def _align(options: dict[str, Any]) -> dict[str, Any]:
    """The wire's alignment from the options."""
    given = {name: options[name] for name in ALIGN if options[name] not in (None, ())}
    if "channels" in given:
        given["channels"] = list(given["channels"])
    if "tempo_map" in given:
        given["tempo_map"] = tempo_map_from_text(given["tempo_map"])
    return given


def tempo_map_from_text(text: str) -> list[dict[str, float]]:
    """The wire's tempo map from ``AT:TEMPO,…``.

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
            expected = "AT:TEMPO, such as 0:132,16:126"
            where = f"/align/tempo_map/{index}"
            raise SettingError.at(where, f"{entry!r} is no tempo", expected=expected) from None
    return entries


def _notes(argument: str) -> Any:
    """What was played, from a JSON file, a text file, standard input or the argument itself."""
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
        raise PlayedError.at("/played", f"what was played is not JSON: {error}") from None


def _text(argument: str) -> str:
    if argument == "-":
        return sys.stdin.buffer.read().decode("utf-8-sig")
    path = Path(argument)
    return path.read_bytes().decode("utf-8-sig") if is_existing_file(path) else argument


def played_from_text(text: str) -> list[list[int | str] | None]:
    """Notes step by step from lines, or from what stands between bars.

    >>> played_from_text("| F3 A3 | 53,57,59 | % | - |")
    [['F3', 'A3'], [53, 57, 59], [53, 57, 59], None]
    """
    body = text.strip()
    if "|" in body:
        parts = re.split(r"\|", " ".join(body.split()).strip("|"))
    else:
        parts = [line for line in body.splitlines() if line.strip()]
    steps: list[list[int | str] | None] = []
    for part in parts:
        words = part.replace(",", " ").split()
        if words == [SAME] and steps:
            steps.append(steps[-1])
        else:
            steps.append(None if words in ([], [NOTHING]) else [_word(word) for word in words])
    return steps


def _word(word: str) -> int | str:
    return int(word) if word.isdecimal() and len(word) < 5 else word
