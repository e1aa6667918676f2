"""Arguments of the command line as values of the wire: charts, notes, pins.

Knows files and the core's errors; validation is left to the services.
"""

import base64
import json
import sys
from codecs import BOM_UTF16_BE, BOM_UTF16_LE
from pathlib import Path
from typing import Any

import click

from shortway.cli.errors import pointer_prefix

_LONGEST_NAME = 256
_SHEET_SUFFIXES = (".json", ".musicxml", ".xml", ".mxl")


_CHART_FIELDS = {
    "text_format": "text_format", "measure_each": "measure_each", "chart_tempo": "tempo",
}  # fmt: skip
"""Options that are fields of a chart."""


def request_from_arguments(given: dict[str, Any]) -> dict[str, Any]:
    """The wire's request for `given`, with chart, notes and pins read from their texts.

    `given` gets the chart that was read in place of its file name, so that errors can quote it.

    Raises ShortwayError if an argument cannot be read; the pointer leads to it.
    """
    options = {field: given.pop(name, None) for name, field in _CHART_FIELDS.items()}
    with pointer_prefix("/chart"):
        given["chart"] = chart_from_argument(given["chart"], **options)
    request = dict(given)
    if "start_from" in given:
        request["start_from"] = notes_from_text(given["start_from"], "/start_from")
    if "pins" in given:
        request["pins"] = [pin_from_text(pin, index) for index, pin in enumerate(given["pins"])]
    if request.pop("keep", None) is not None:
        request["keep"] = kept_from_file(given["keep"], given["chart"])
    return request


def kept_from_file(file: Path, chart: Any) -> list[dict[str, Any]]:
    """The notes of an earlier answer at the steps of `chart` that are the same.

    Raises click.BadParameter if the file is no answer with steps; ShortwayError if the chart cannot
    be read.
    """
    from shortway.core.charts import unroll
    from shortway.services.read_chart import read_chart
    from shortway.wire.serializers.charts import brief_step_json
    from shortway_client.alignment import StepKey, align_steps

    with pointer_prefix("/chart"):
        new = [brief_step_json(step) for step in unroll(read_chart(chart).chart)]
    try:
        old = json.loads(file.read_bytes())["steps"]
        notes = [step["midi_notes"] for step in old]
        keys = [[StepKey(s["measure"], s["beat"], s["symbol"]) for s in of] for of in (old, new)]
    except (KeyError, TypeError, ValueError):
        detail = f"{file} is not an answer of shortway solve --json"
        raise click.BadParameter(detail, param_hint="--keep") from None
    return [{"step": k, "midi_notes": notes[i]} for i, k in align_steps(*keys) if notes[i]]


def chart_from_argument(argument: str, **options: Any) -> Any:
    """The chart of an argument as the wire has it, with options of its text.

    The content of a file decides what it is; of a text, its name decides the format.

    Raises ChartError if the file cannot be read, is not UTF-8, or is not valid JSON.
    """
    text = _text(argument)
    if isinstance(text, dict):
        return text
    if text.lstrip().startswith("<"):
        return {"musicxml": text}
    fields = _text_fields(argument, options)
    if "text_format" in fields or not text.lstrip().startswith("{"):
        return {"text": text} | fields
    try:
        return json.loads(text)
    except json.JSONDecodeError as error:
        raise _chart_error(f"cannot read the chart as JSON: {error.msg}", error.pos) from None
    except RecursionError:
        raise _chart_error("the chart is nested too deeply") from None


def _text_fields(argument: str, options: dict[str, Any]) -> dict[str, Any]:
    """The options that are given, and the format that a file's name ends as."""
    from shortway.scores.chart_files.formats import DEFAULT_FORMAT, format_of_name

    named = format_of_name(argument) if is_existing_file(Path(argument)) else None
    by_name = {} if named in (None, DEFAULT_FORMAT) else {"text_format": named}
    return by_name | {name: value for name, value in options.items() if value is not None}


def _text(argument: str) -> str | dict[str, str]:
    if argument == "-":
        return _decoded(sys.stdin.buffer.read(), "standard input")
    path = Path(argument)
    if is_existing_file(path):
        return _decoded(path.read_bytes(), argument)
    if "|" not in argument and _is_file_name(argument):
        raise _chart_error(f"cannot find the file {argument!r}")
    return argument


def _is_file_name(argument: str) -> bool:
    """Whether an argument ends as the name of a file with a chart."""
    from shortway.scores.chart_files.formats import format_of_name

    is_text = len(argument) < _LONGEST_NAME and format_of_name(argument) is not None
    return is_text or argument.endswith(_SHEET_SUFFIXES)


def is_existing_file(path: Path) -> bool:
    """Whether `path` is an existing file; False for a text that cannot be a file name."""
    try:
        return path.is_file()
    except (OSError, ValueError):  # a chart text: too long for a file name, or with a null
        return False


def _decoded(content: bytes, name: str) -> str | dict[str, str]:
    """A text, or a compressed lead sheet; XML may be UTF-16, with a byte order mark."""
    if content.startswith(b"PK\x03\x04"):
        return {"mxl": base64.b64encode(content).decode()}
    coding = "utf-16" if content.startswith((BOM_UTF16_BE, BOM_UTF16_LE)) else "utf-8-sig"
    try:
        return content.decode(coding)
    except UnicodeDecodeError as error:
        raise _chart_error(f"{name} is not UTF-8 at byte {error.start}") from None


def _chart_error(detail: str, position: int | None = None) -> Exception:
    from shortway.core.errors import ChartError

    return ChartError.at("", detail, position)


def notes_from_text(text: str | None, pointer: str, separator: str = ",") -> list[int] | None:
    """MIDI numbers of notes, each a name or a number, separated by commas or spaces.

    Raises SettingError if a name cannot be read; `pointer` is its pointer.

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
    """The wire's pin of ``STEP:WHAT``, for example ``0:form=A,top=G5``.

    Raises PinError if it cannot be read; the pointer is ``/pins/`` and `index`.

    >>> pin_from_text("3:midi_notes=F3+59,form=B", 0)
    {'step': 3, 'midi_notes': [53, 59], 'form': 'B'}
    """
    from shortway.core.errors import PinError

    step, _, what = text.partition(":")
    fields: dict[str, Any] = dict(part.partition("=")[::2] for part in what.split(","))
    if not step.isdecimal() or not fields.keys() <= {"midi_notes", "family", "form", "top"}:
        expected = "STEP:WHAT, where WHAT is one or more of midi_notes=, family=, form=, top="
        raise PinError.at(f"/pins/{index}", f"cannot read the pin {text!r}", 0, expected)
    if "midi_notes" in fields:
        fields["midi_notes"] = notes_from_text(fields["midi_notes"], f"/pins/{index}", "+")
    return {"step": int(step), **fields}
