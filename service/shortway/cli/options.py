"""Options shared by commands: settings, paths, output."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from shortway.cli.click_types import (
    GroupedCommand,
    GroupedOption,
    SettingWord,
)

Function = Callable[..., Any]


SETTINGS: tuple[tuple[tuple[str, ...], dict[str, Any]], ...] = (
    (
        ("--preset",),
        {
            "metavar": "NAME",
            "help": "Defaults by situation; see shortway presets.",
        },
    ),
    (
        ("--bass-player/--no-bass-player",),
        {"default": None, "help": "Whether a bass player plays the roots."},
    ),
    (
        ("--hands",),
        {"metavar": "WHICH", "help": "both, left or right."},
    ),
    (
        ("--families",),
        {
            "multiple": True,
            "metavar": "NAMES",
            "help": "Names separated by commas.",
        },
    ),
    (("--notes",), {"type": int, "metavar": "N", "help": "Upper notes per voicing."}),
    (
        ("--notes-vary/--no-notes-vary",),
        {"default": None, "help": "Whether their number may change from step to step."},
    ),
    (
        ("--split-cost",),
        {"type": int, "help": "Cost of a split or merge where notes vary, semitones."},
    ),
    (
        ("--tensions",),
        {
            "metavar": "WHICH",
            "help": "written, available or in-context.",
        },
    ),
    (
        ("--reach",),
        {
            "metavar": "NAME",
            "help": "octave, ninth, tenth or eleventh.",
        },
    ),
    (("--reach-mm",), {"type": float, "help": "Reach from key to key, in millimetres."}),
    (("--lowest",), {"metavar": "NOTE", "help": "Lowest note allowed: Eb3."}),
    (("--highest",), {"metavar": "NOTE", "help": "Highest note allowed: C6."}),
    (("--home",), {"metavar": "NOTE", "help": "Preferred mean pitch: D4."}),
    (
        ("--repeats",),
        {
            "metavar": "HOW",
            "help": "Repeated chords: hold or change.",
        },
    ),
    (
        ("--low-interval-limits",),
        {
            "metavar": "HOW",
            "help": "assumed-root, usual or off.",
        },
    ),
    (
        ("--waive",),
        {
            "multiple": True,
            "metavar": "RULES",
            "help": "Rules to waive: guide-tones, colours, minor-ninths.",
        },
    ),
    (
        ("--pricing",),
        {
            "metavar": "HOW",
            "help": "comfort, or none for the least motion.",
        },
    ),
    (
        ("--price", "prices"),
        {"multiple": True, "metavar": "NAME=N", "help": "A price in semitones: top-note-held=0."},
    ),
    (
        ("--melody",),
        {
            "metavar": "HOW",
            "help": "The melody: avoid, below, carry or ignore.",
        },
    ),
)
"""The options of a setting: names and arguments of `click.option`."""

_WORDS = {"preset", "hands", "families", "tensions", "reach", "repeats", "low_interval_limits",
          "waive", "pricing", "melody"}  # fmt: skip
"""Fields of the setting with a closed list of words."""

FORMATS = ("table", "brief", "json")
"""How an answer is printed; the first is the default."""

_OUTPUT_OPTIONS = (
    click.option(
        "--format",
        "output",
        type=click.Choice(FORMATS),
        default=FORMATS[0],
        show_default=True,
        help="A table, a line for each item, or the JSON of the HTTP API.",
    ),
    click.option("--json", "output", flag_value="json", help="Short for --format json."),
)

_path_option = functools.partial(click.option, cls=GroupedOption, group="Path")

_chart_option = functools.partial(click.option, cls=GroupedOption, group="Chart")

_CHART_OPTIONS = (
    _chart_option(
        "--text-format", metavar="NAME", help="grid, chordpro, lab, abc or romantext; by the file."
    ),
    _chart_option("--measure-each", metavar="WHAT", help="Without bar lines: symbol or line."),
    _chart_option(
        "--chart-tempo", type=float, metavar="N", help="Tempo of a .lab file; estimated."
    ),
)
"""How a chart's text is read."""

WAY_OPTIONS = (
    _path_option("--loop", is_flag=True, help="Play the chart as a loop."),
    _path_option(
        "--start-from", metavar="NOTES", help="Notes before the first chord: F3,B3,E4 or 53,59,64."
    ),
    _path_option(
        "--top-line", default="free", metavar="HOW", help="Top voice: free, hold, rise or fall."
    ),
)
"""The options of any solved path."""

PATH_OPTIONS = (
    *WAY_OPTIONS,
    _path_option(
        "--pin",
        "pins",
        multiple=True,
        metavar="STEP:WHAT",
        help="Fix a step, from 0: 0:form=A,top=G5 or 3:midi_notes=53+59+64 or 2:family=close.",
    ),
    _path_option(
        "--keep",
        type=click.Path(path_type=Path, exists=True, dir_okay=False),
        help="Keep notes of an earlier answer, a file of shortway solve --json.",
    ),
)
"""The options of a path through a chart of one key."""

FIELDS = tuple(
    names[-1].partition("/")[0].removeprefix("--").replace("-", "_") for names, _ in SETTINGS
)


def command(name: str) -> Callable[[Function], click.Command]:
    """A subcommand whose options can be set in the environment."""
    return click.command(
        name, cls=GroupedCommand, context_settings={"auto_envvar_prefix": "SHORTWAY"}
    )


def output_options(function: Function) -> Function:
    """Add --format and --json; `function` gets one of `FORMATS` as `output`."""
    return add_options(function, _OUTPUT_OPTIONS)


def setting_options(function: Function) -> Function:
    """Add every setting as an option; `function` gets them as one dict, `setting`."""

    @functools.wraps(function)
    def with_setting(**arguments: Any) -> Any:
        fields = {name: arguments.pop(name) for name in FIELDS}
        return function(setting=setting_from_options(fields), **arguments)

    for field, (names, details) in reversed(list(zip(FIELDS, SETTINGS, strict=True))):
        kind = {"type": SettingWord(field)} if field in _WORDS else {}
        click.option(*names, cls=GroupedOption, group="Setting", **kind, **details)(with_setting)
    return with_setting


def chart_options(function: Function) -> Function:
    """Add the options of a chart's text."""
    return add_options(function, _CHART_OPTIONS)


def path_options(function: Function) -> Function:
    """Add the options of a path."""
    return add_options(function, PATH_OPTIONS)


def way_options(function: Function) -> Function:
    """Add the options of any solved path: all path options but pins."""
    return add_options(function, WAY_OPTIONS)


def add_options(function: Function, options: Sequence[Callable[[Function], Function]]) -> Function:
    """`function` with options in their order."""
    for option in reversed(options):
        function = option(function)
    return function


def setting_from_options(fields: dict[str, Any]) -> dict[str, Any]:
    """The wire's setting from the options; absent ones are left out.

    >>> setting_from_options({"notes": 4, "families": ("close,drop-2",), "hands": None})
    {'notes': 4, 'families': ['close', 'drop-2']}
    """
    given = {name: value for name, value in fields.items() if value not in (None, ())}
    for name in {"families", "waive"} & given.keys():
        given[name] = [word for text in given[name] for word in text.replace(",", " ").split()]
    if "prices" in given:
        given["prices"] = dict(map(_price, given["prices"]))
    return given


def _price(text: str) -> tuple[str, Any]:
    """Name and value of a price; validation is left to the setting."""
    name, _, value = text.partition("=")
    return name, int(value) if value.isdecimal() else value
