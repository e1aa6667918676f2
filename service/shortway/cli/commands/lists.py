"""``shortway families``, ``rhythms`` and ``presets``: the values that options take."""

from collections.abc import Callable, Iterator
from typing import Any

from shortway.cli.options import command, output_options


@command("families")
@output_options
def families_command(output: str) -> None:
    """List the families of voicings, for --families."""
    from shortway.cli.table import format_families
    from shortway.core.settings.families import FAMILIES
    from shortway.wire.serializers.families import families_json

    _print(families_json(FAMILIES.values()), "families", output, format_families)


@command("rhythms")
@output_options
def rhythms_command(output: str) -> None:
    """List the comping rhythms, for shortway score --rhythm."""
    from shortway.cli.table import format_rhythms
    from shortway.core.rhythm.patterns import PATTERNS
    from shortway.wire.serializers.rhythms import rhythms_json

    _print(rhythms_json(PATTERNS.values()), "rhythms", output, format_rhythms)


@command("presets")
@output_options
def presets_command(output: str) -> None:
    """List the settings by situation, for --preset."""
    from shortway.cli.table import format_presets
    from shortway.core.settings.presets import PRESETS
    from shortway.wire.serializers.settings import presets_json

    _print(presets_json(PRESETS.values()), "presets", output, format_presets)


def _print(
    answer: dict[str, Any], name: str, output: str, table: Callable[..., Iterator[str]]
) -> None:
    from shortway.cli.brief import brief_list
    from shortway.cli.table import print_answer

    print_answer(answer, output, table(answer[name]), brief_list(answer[name]))
