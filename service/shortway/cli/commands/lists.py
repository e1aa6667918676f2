"""``shortway families``, ``rhythms`` and ``settings``: the values that options take."""

from __future__ import annotations

from shortway.cli.options import command, json_option


@command("families")
@json_option
def families_command(as_json: bool) -> None:
    """List the families of voicings, for --families."""
    from shortway.cli.table import format_families, print_answer
    from shortway.core.settings.families import FAMILIES
    from shortway.wire.serializers.families import families_json

    answer = families_json(FAMILIES.values())
    print_answer(answer, as_json, format_families(answer["families"]))


@command("rhythms")
@json_option
def rhythms_command(as_json: bool) -> None:
    """List the comping rhythms, for shortway score --rhythm."""
    from shortway.cli.table import format_rhythms, print_answer
    from shortway.core.rhythm.patterns import PATTERNS
    from shortway.wire.serializers.rhythms import rhythms_json

    answer = rhythms_json(PATTERNS.values())
    print_answer(answer, as_json, format_rhythms(answer["rhythms"]))


@command("settings")
@json_option
def settings_command(as_json: bool) -> None:
    """List the settings by situation, for --preset."""
    from shortway.cli.table import format_presets, print_answer
    from shortway.core.settings.presets import PRESETS
    from shortway.wire.serializers.settings import presets_json

    answer = presets_json(PRESETS.values())
    print_answer(answer, as_json, format_presets(answer["settings"]))
