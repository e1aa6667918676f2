"""What click lacks: help in groups, and words that the shell completes from the wire's schema."""

from typing import Any

import click
from click.shell_completion import CompletionItem


class GroupedOption(click.Option):
    """An option with the heading that the help lists it under."""

    def __init__(self, *names: Any, group: str, **details: Any) -> None:
        super().__init__(*names, **details)
        self.group = group


class GroupedCommand(click.Command):
    """A command whose help lists the options of a setting, a path and a score apart."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options, those of the command itself first."""
        groups: dict[str, list[tuple[str, str]]] = {"Options": []}
        for option in self.get_params(ctx):
            record = option.get_help_record(ctx) if isinstance(option, click.Option) else None
            if record is not None:
                groups.setdefault(getattr(option, "group", "Options"), []).append(record)
        for title, records in groups.items():
            with formatter.section(title):
                formatter.write_dl(records)


class SettingWord(click.ParamType[str]):
    """A word, or words, of a field of the setting; the core checks it, the shell completes it."""

    name = "text"

    def __init__(self, field: str) -> None:
        self.field = field

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        """The words of the wire's declaration that begin with `incomplete`."""
        from shortway.wire.schemas.settings import SettingSchema

        declared: Any = SettingSchema().fields[self.field]
        words = getattr(declared, "inner", declared).metadata["enum"]
        return [CompletionItem(word) for word in words if word.startswith(incomplete)]


def read_section_rhythms(
    _: click.Context, __: click.Parameter, given: tuple[str, ...]
) -> list[dict[str, str]] | None:
    """The wire's `section_rhythms` of texts such as ``B:rhythm=pushes,density=dense``.

    Raises BadParameter for a text of another form.
    """
    found = []
    for text in given:
        section, _colon, what = text.rpartition(":")
        fields = dict(part.partition("=")[::2] for part in what.split(","))
        if not section or not fields.keys() <= {"rhythm", "density"}:
            raise click.BadParameter(f"{text!r} is not SECTION:rhythm=NAME,density=HOW")
        found.append({"section": section, **fields})
    return found or None
