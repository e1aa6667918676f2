"""``shortway families``, ``rhythms`` and ``presets``: the values that options take."""

from __future__ import annotations

from shortway.cli.options import command, output_options


@command("families")
@output_options
def families_command(output: str) -> None:
    """List the families of voicings, for --families."""
    from shortway.cli.brief import brief_list
    from shortway.cli.table import format_families, print_answer
    from shortway.core.settings.families import FAMILIES
    from shortway.wire.serializers.families import families_json

    answer = families_json(FAMILIES.values())
    print_answer(
        answer, output, format_families(answer["families"]), brief_list(answer["families"])
    )


@command("rhythms")
@output_options
def rhythms_command(output: str) -> None:
    """List the comping rhythms, for shortway score --rhythm."""
    from shortway.cli.brief import brief_list
    from shortway.cli.table import format_rhythms, print_answer
    from shortway.core.rhythm.patterns import PATTERNS
    from shortway.wire.serializers.rhythms import rhythms_json

    answer = rhythms_json(PATTERNS.values())
    items = answer["rhythms"]
    print_answer(answer, output, format_rhythms(items), brief_list(items))


@command("presets")
@output_options
def presets_command(output: str) -> None:
    """List the settings by situation, for --preset."""
    from shortway.cli.brief import brief_list
    from shortway.cli.table import format_presets, print_answer
    from shortway.core.settings.presets import PRESETS
    from shortway.wire.serializers.settings import presets_json

    answer = presets_json(PRESETS.values())
    items = answer["presets"]
    print_answer(answer, output, format_presets(items), brief_list(items))
