"""Options shared by commands: settings, paths, output."""

import functools
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from shortway.cli.click_types import GroupedCommand, GroupedOption, SettingWord

Function = Callable[..., Any]
Decorator = Callable[[Function], Function]


def add_options(*options: Decorator) -> Decorator:
    """A decorator that adds options, or groups of them, in their order."""

    def add(function: Function) -> Function:
        for option in reversed(options):
            function = option(function)
        return function

    return add


def _setting(*names: str, words: str = "", **details: Any) -> tuple[str, Decorator]:
    """A field of the setting and its option; `words`: what one of its closed list is called."""
    field = names[-1].partition("/")[0].removeprefix("--").replace("-", "_")
    kind = {"type": SettingWord(field), "metavar": words} if words else {}
    return field, click.option(*names, cls=GroupedOption, group="Setting", **kind, **details)


_SETTINGS = dict(
    [
        _setting("--preset", words="NAME", help="Defaults by situation; see shortway presets."),
        _setting(
            "--bass-player/--no-bass-player",
            default=None,
            help="Whether a bass player plays the roots.",
        ),
        _setting("--hands", words="WHICH", help="both, left or right."),
        _setting("--families", multiple=True, words="NAMES", help="Names separated by commas."),
        _setting("--notes", type=int, metavar="N", help="Upper notes per voicing."),
        _setting(
            "--notes-vary/--no-notes-vary",
            default=None,
            help="Whether their number may change from step to step.",
        ),
        _setting(
            "--split-cost", type=int, help="Cost of a split or merge where notes vary, semitones."
        ),
        _setting("--tensions", words="WHICH", help="written, available or in-context."),
        _setting("--reach", words="NAME", help="octave, ninth, tenth or eleventh."),
        _setting("--reach-mm", type=float, help="Reach from key to key, in millimetres."),
        _setting("--lowest", metavar="NOTE", help="Lowest note allowed: Eb3."),
        _setting("--highest", metavar="NOTE", help="Highest note allowed: C6."),
        _setting("--home", metavar="NOTE", help="Preferred mean pitch: D4."),
        _setting("--repeats", words="HOW", help="Repeated chords: hold or change."),
        _setting("--low-interval-limits", words="HOW", help="assumed-root, usual or off."),
        _setting(
            "--waive",
            multiple=True,
            words="RULES",
            help="Rules to waive: guide-tones, colours, minor-ninths.",
        ),
        _setting("--pricing", words="HOW", help="comfort, or none for the least motion."),
        _setting(
            "--price",
            "prices",
            multiple=True,
            metavar="NAME=N",
            help="A price in semitones: top-note-held=0.",
        ),
        _setting("--melody", words="HOW", help="The melody: avoid, below, carry or ignore."),
    ]
)
"""The option of each field of the setting."""
FIELDS = tuple(_SETTINGS)

FORMATS = ("table", "brief", "json")
"""How an answer is printed; the first is the default."""

output_options = add_options(
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
"""--format and --json; a command gets one of `FORMATS` as `output`."""

_path_option = functools.partial(click.option, cls=GroupedOption, group="Path")
_chart_option = functools.partial(click.option, cls=GroupedOption, group="Chart")

chart_options = add_options(
    _chart_option(
        "--text-format", metavar="NAME", help="grid, chordpro, lab, abc or romantext; by the file."
    ),
    _chart_option("--measure-each", metavar="WHAT", help="Without bar lines: symbol or line."),
    _chart_option(
        "--chart-tempo", type=float, metavar="N", help="Tempo of a .lab file; estimated."
    ),
)
"""How a chart's text is read."""

way_options = add_options(
    _path_option("--loop", is_flag=True, help="Play the chart as a loop."),
    _path_option(
        "--start-from", metavar="NOTES", help="Notes before the first chord: F3,B3,E4 or 53,59,64."
    ),
    _path_option(
        "--top-line", default="free", metavar="HOW", help="Top voice: free, hold, rise or fall."
    ),
)
"""The options of any solved path."""

path_options = add_options(
    way_options,
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


def command(name: str) -> Callable[[Function], click.Command]:
    """A subcommand whose options can be set in the environment."""
    return click.command(
        name, cls=GroupedCommand, context_settings={"auto_envvar_prefix": "SHORTWAY"}
    )


def setting_options(function: Function) -> Function:
    """Add every setting as an option; `function` gets them as one dict, `setting`."""

    @functools.wraps(function)
    def with_setting(**arguments: Any) -> Any:
        fields = {name: arguments.pop(name) for name in FIELDS}
        return function(setting=setting_from_options(fields), **arguments)

    return add_options(*_SETTINGS.values())(with_setting)


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
