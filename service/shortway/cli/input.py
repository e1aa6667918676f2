"""What is typed on the command line, as the wire's values: charts, settings, notes, pins.

Knows click and the core's errors; judges no music, which is left to the core.
"""

from __future__ import annotations

import base64
import functools
import json
import sys
from codecs import BOM_UTF16_BE, BOM_UTF16_LE
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

CHART_SUFFIXES = (".txt", ".json", ".chart", ".musicxml", ".xml", ".mxl")
"""An argument that ends so and is no file is a mistyped file name, not a chart."""

SETTINGS: tuple[tuple[tuple[str, ...], dict[str, Any]], ...] = (
    (("--preset",), {"metavar": "NAME", "help": "A setting by situation; see shortway settings."}),
    (("--bass-player/--no-bass-player",), {"default": None, "help": "Is there a bass player?"}),
    (("--hands",), {"metavar": "WHICH", "help": "both, left or right."}),
    (("--families",), {"multiple": True, "metavar": "NAMES", "help": "One or more, by commas."}),
    (("--notes",), {"metavar": "N", "help": "Upper notes in every voicing, or free."}),
    (("--split-cost",), {"type": int, "help": "Semitones a split or merge costs with free notes."}),
    (("--tensions",), {"metavar": "WHICH", "help": "written, available or in-context."}),
    (("--reach",), {"metavar": "NAME", "help": "Your own: octave, ninth, tenth or eleventh."}),
    (("--reach-mm",), {"type": float, "help": "Or key to key, in millimetres."}),
    (("--lowest",), {"metavar": "NOTE", "help": "Lowest note that may be struck: Eb3."}),
    (("--highest",), {"metavar": "NOTE", "help": "Highest note that may be struck: C6."}),
    (("--range",), {"nargs": 2, "metavar": "NOTE NOTE", "help": "Lowest and highest at once."}),
    (("--home",), {"metavar": "NOTE", "help": "Where the hands like to be, ties apart."}),
    (("--repeats",), {"metavar": "HOW", "help": "hold or change: what a repeated chord does."}),
    (("--low-interval-limits",), {"metavar": "HOW", "help": "assumed-root, usual or off."}),
    (
        ("--waive",),
        {"multiple": True, "metavar": "RULES", "help": "guide-tones, colours, minor-ninths."},
    ),
    (("--melody",), {"metavar": "HOW", "help": "avoid, below, carry or ignore what is sung."}),
)
"""The options that make a setting: names and click's arguments."""

WAY_OPTIONS = (
    click.option("--loop", is_flag=True, help="The form is played round and round."),
    click.option(
        "--start-from", metavar="NOTES", help="Notes sounding already: F3,B3,E4 or 53,59,64."
    ),
    click.option(
        "--top-line",
        default="free",
        metavar="HOW",
        help="hold, rise or fall: the top voice, before motion.",
    ),
)
"""The options of a way through a chart, whatever its steps are."""

PATH_OPTIONS = (
    *WAY_OPTIONS,
    click.option(
        "--pin",
        "pins",
        multiple=True,
        metavar="STEP:WHAT",
        help="What a step, from 0, must be: 0:form=A,top=G5 or 3:midi=53+59+64 or 2:family=close.",
    ),
)
"""The options that make a path's request: those of a chart and a setting apart."""

FIELDS = tuple(
    names[0].partition("/")[0].removeprefix("--").replace("-", "_") for names, _ in SETTINGS
)


def setting_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give `command` every setting as an option; it receives them as one dict, `setting`."""

    @functools.wraps(command)
    def with_setting(**arguments: Any) -> Any:
        fields = {name: arguments.pop(name) for name in FIELDS}
        return command(setting=setting_from_options(fields), **arguments)

    for names, details in reversed(SETTINGS):
        click.option(*names, **details)(with_setting)
    return with_setting


def path_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give `command` what a path is asked for beside its chart and setting, as options."""
    return add_options(command, PATH_OPTIONS)


def way_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give `command` what any way through a chart is asked for, as options."""
    return add_options(command, WAY_OPTIONS)


def add_options(
    command: Callable[..., Any], options: Sequence[Callable[..., Any]]
) -> Callable[..., Any]:
    """`command` with options in their order."""
    for option in reversed(options):
        command = option(command)
    return command


def setting_from_options(fields: dict[str, Any]) -> dict[str, Any]:
    """The wire's setting from the options; those not given are left out.

    >>> setting_from_options({"notes": "4", "families": ("close,drop-2",), "hands": None})
    {'notes': 4, 'families': ['close', 'drop-2']}
    """
    given = {name: value for name, value in fields.items() if value not in (None, ())}
    lowest, highest = given.pop("range", (None, None))
    ends = {"lowest": given.pop("lowest", lowest), "highest": given.pop("highest", highest)}
    if given.get("notes", "").isdecimal():
        given["notes"] = int(given["notes"])
    for name in {"families", "waive"} & given.keys():
        given[name] = [word for text in given[name] for word in text.replace(",", " ").split()]
    ends = {name: note for name, note in ends.items() if note is not None}
    return given | ({"range": ends} if ends else {})


def chart_from_argument(argument: str) -> Any:
    """The chart that an argument means: the JSON form or a lead sheet as a dict, else a text.

    A file is taken for what its first characters say, whatever its name.

    Raises
    ------
    ChartError
        The file cannot be read, or is neither UTF-8 nor JSON where it has to be.
    """
    text = _text(argument)
    if isinstance(text, dict):
        return text
    if text.lstrip().startswith("<"):
        return {"musicxml": text}
    if not text.lstrip().startswith("{"):
        return text
    try:
        return json.loads(text)
    except json.JSONDecodeError as error:
        raise _chart_error(f"the chart is not JSON: {error.msg}", error.pos) from None
    except RecursionError:
        raise _chart_error("the chart is nested too deep") from None


def _text(argument: str) -> str | dict[str, str]:
    if argument == "-":
        return _decoded(sys.stdin.buffer.read(), "standard input")
    path = Path(argument)
    if is_existing_file(path):
        return _decoded(path.read_bytes(), argument)
    if argument.endswith(CHART_SUFFIXES) and "|" not in argument:
        raise _chart_error(f"there is no file {argument!r}")
    return argument


def is_existing_file(path: Path) -> bool:
    """Whether there is such a file; what is no file name is none."""
    try:
        return path.is_file()
    except (OSError, ValueError):  # a chart is no file name: too long, or with a null
        return False


def _decoded(content: bytes, name: str) -> str | dict[str, str]:
    """A text, or a compressed lead sheet; UTF-16 by its first bytes, as XML may be."""
    if content.startswith(b"PK\x03\x04"):
        return {"mxl": base64.b64encode(content).decode()}
    coding = "utf-16" if content.startswith((BOM_UTF16_BE, BOM_UTF16_LE)) else "utf-8-sig"
    try:
        return content.decode(coding)
    except UnicodeDecodeError as error:
        raise _chart_error(
            f"{name} is not UTF-8 text: byte {error.start} is no part of it"
        ) from None


def _chart_error(detail: str, position: int | None = None) -> Exception:
    from shortway.core.errors import ChartError

    return ChartError.at("", detail, position)


def notes_from_text(text: str | None, pointer: str, separator: str = ",") -> list[int] | None:
    """MIDI numbers of notes given by name or by number, separated by commas or spaces.

    >>> notes_from_text("F3,59 64", "/after")
    [53, 59, 64]
    """
    from shortway.core.errors import SettingError
    from shortway.core.theory.pitch import midi_number

    if text is None:
        return None
    words = text.replace(separator, " ").split()
    try:
        return [int(word) if word.isdecimal() else midi_number(word) for word in words]
    except SettingError as error:
        raise error.under(pointer) from None


def pin_from_text(text: str, index: int) -> dict[str, Any]:
    """The wire's pin from ``STEP:WHAT``, such as ``0:form=A,top=G5``.

    Raises
    ------
    PinError
        It does not read so; the pointer is ``/pins/`` and `index`.

    >>> pin_from_text("3:midi=F3+59,form=B", 0)
    {'step': 3, 'midi': [53, 59], 'form': 'B'}
    """
    from shortway.core.errors import PinError

    step, _, what = text.partition(":")
    fields: dict[str, Any] = dict(part.partition("=")[::2] for part in what.split(","))
    if not step.isdecimal() or not fields.keys() <= {"midi", "family", "form", "top"}:
        expected = "STEP:WHAT, where WHAT is one or more of midi= family= form= top="
        raise PinError.at(f"/pins/{index}", f"{text!r} is no pin", 0, expected)
    if "midi" in fields:
        fields["midi"] = notes_from_text(fields["midi"], f"/pins/{index}", "+")
    return {"step": int(step), **fields}
