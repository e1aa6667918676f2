"""What the documentation takes from the code: tables, options, and the answers of error pages.

A generated part of a page stands between ``<!-- generated: NAME … -->`` and ``<!-- end -->``;
`written` makes it anew, and ``python tests/docs/write.py`` writes it.
"""

from __future__ import annotations

import inspect
import json
import os
import re
import tempfile
import tomllib
from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from contextlib import chdir
from functools import cache, partial
from http import HTTPMethod
from pathlib import Path
from typing import Any
from unittest.mock import patch

import click
from werkzeug.test import EnvironBuilder, run_wsgi_app

from docs.blocks import MANUAL, ROOT, Block, app, blocks
from shortway import config
from shortway.api import create_app
from shortway.api.http.request_body import MUSICXML, MXL
from shortway.cli import main
from shortway.cli.options import FIELDS
from shortway.core.harmony.tensions import COLOURS, WANTS
from shortway.core.review.findings import CODES
from shortway.core.settings.keyboard import REACHES
from shortway.core.settings.setting import HANDS
from shortway.scores.chart_files.formats import TEXT_FORMATS
from shortway.wire.problems import OUT_OF_TIME, PROBLEMS, problem
from shortway_client import Client

_GENERATED = re.compile(r"(<!-- generated: ([\w -]+?) -->\n).*?(<!-- end -->)", re.S)


def written(file: Path) -> str:
    """The file with every generated part made anew."""

    def part(found: re.Match[str]) -> str:
        whole = found[2] in GENERATORS
        name, _, argument = (found[2], "", "") if whole else found[2].rpartition(" ")
        return "\n".join([found[1], *GENERATORS[name](argument or file.stem), "", found[3]])

    return _GENERATED.sub(part, file.read_text("utf-8"))


def table(titles: Sequence[str], rows: Iterator[Sequence[object]]) -> Iterator[str]:
    """A table's lines."""
    for number, row in enumerate([titles, *rows]):
        if number == 1:
            yield f"|{' --- |' * len(titles)}"
        cells = (str(cell).replace("|", "\\|").replace("\n", " ") for cell in row)
        yield f"| {' | '.join(cells)} |"


@cache
def document() -> dict[str, Any]:
    """The service's OpenAPI document."""
    return answered_get("/openapi.json")


def answered_get(path: str) -> dict[str, Any]:
    """What a GET is answered with."""
    found: dict[str, Any] = app().test_client().get(path).get_json()
    return found


def environment(_: str) -> Iterator[str]:
    """Every environment variable of the service."""
    yield "| variable | unit | default | description |"
    yield "| --- | --- | --- | --- |"
    for name, one in config.variables():
        yield f"| `{config.variable_name(name)}` | {one.unit} | {one.default} | {one.about} |"


def calls(_: str) -> Iterator[str]:
    """Every call of the HTTP API."""
    methods = {method.lower() for method in HTTPMethod}
    rows = (
        (f"`{method.upper()} {path}`", call["summary"])
        for path, found in document()["paths"].items()
        for method, call in found.items()
        if method in methods
    )
    yield from table(("Call", "Answer"), rows)


def further_fields(schema: str) -> Iterator[str]:
    """The fields of a schema that a path's request has not."""
    return fields(schema, document()["components"]["schemas"]["PathRequest"]["properties"])


def fields(schema: str, without: Container[str] = ()) -> Iterator[str]:
    """The fields of a schema of the OpenAPI document."""
    found = document()["components"]["schemas"][schema]
    required = found.get("required", ())
    rows = (
        (
            f"`{name}`",
            type_of(field) + (", required" if name in required else ""),
            _description(field),
        )
        for name, field in found["properties"].items()
        if name not in without
    )
    yield from table(("Field", "Type", "Description"), rows)


def type_of(field: Mapping[str, Any]) -> str:
    """A field's type in words, with what it may be."""
    if "$ref" in field:
        name = str(field["$ref"]).rpartition("/")[2]
        referred = document()["components"]["schemas"][name]
        return name if "properties" in referred else type_of(referred)
    if choices := field.get("oneOf") or field.get("anyOf"):
        return " or ".join(type_of(choice) for choice in choices)
    if "enum" in field:
        return ", ".join(f"`{word}`" for word in field["enum"] if word is not None)
    if field.get("type") == "array":
        return f"list of {type_of(field['items'])}"
    kind = field.get("type", "any value")
    low, high = field.get("minimum"), field.get("maximum")
    within = f", {low:,} to {high:,}" if low is not None and high is not None else ""
    return (kind if isinstance(kind, str) else " or ".join(kind)) + within


def _description(field: Mapping[str, Any]) -> str:
    default = f" Default: `{json.dumps(field['default'])}`." if "default" in field else ""
    return str(field.get("description", "")) + default


def families(_: str) -> Iterator[str]:
    """The families of voicings."""
    rows = (
        (f"`{one['id']}`", " or ".join(one["hands"]), _numbers(one["voices"]), one["about"])
        for one in answered_get("/v1/families")["families"]
    )
    yield from table(("Family", "Hands", "Notes", "Description"), rows)


def recipes(_: str) -> Iterator[str]:
    """The recipes of the families that have rows of seats, by types of chord."""
    rows: dict[tuple[str, str], list[str]] = {}
    for one in answered_get("/v1/families")["families"]:
        for row in one["recipes"]:
            few = len(row["serves"]) <= _FEW
            key = f"`{one['id']}`", ", ".join(row["serves"]) if few else "all others"
            rows.setdefault(key, []).append(_recipe(row, "both" in one["hands"]))
    titles = "Family", "Types of chord", "Low to high, left | right"
    yield from table(titles, ((*key, " · ".join(found)) for key, found in rows.items()))


#: Types of chord that a recipe of their own lists by name.
_FEW = 2


def _recipe(row: Mapping[str, Any], both: bool) -> str:
    seats, left = row["seats"], row["left"]
    return " ".join([*seats[:left], *(["|", *seats[left:]] if both else seats[left:])])


def _numbers(numbers: Sequence[int]) -> str:
    low, high = min(numbers), max(numbers)
    return str(low) if low == high else f"{low} to {high}"


def situations(_: str) -> Iterator[str]:
    """The defaults of a setting by who plays."""
    given = ((hands, bass) for bass in (True, False) for hands in HANDS)
    settings = (_posted("/v1/voicings", _setting(*one), "application/json") for one in given)
    rows = (
        (one["hands"], "yes" if one["bass_player"] else "no",
         ", ".join(f"`{name}`" for name in one["families"]), one["notes"],
         f"{one['lowest']} to {one['highest']}", one["home"])
        for one in (said["setting"] for said in settings)
    )  # fmt: skip
    yield from table(("Hands", "Bass player", "Families", "Notes", "Range", "Home"), rows)


def _setting(hands: str, bass_player: bool) -> bytes:
    setting = {"hands": hands, "bass_player": bass_player}
    return json.dumps({"symbol": "C7", "setting": setting, "limit": 1}).encode()


def prices(kind: str) -> Iterator[str]:
    """The comfort prices of a voicing, or of a move."""
    rows = (
        (f"`{one['name']}`", one["default"], one["counts"] + _source(one["source"]))
        for one in answered_get("/v1/prices")["prices"]
        if one["kind"] == kind
    )
    yield from table(("Price", "Default", "Counts"), rows)


def _source(text: str) -> str:
    """A source in parentheses; none where the page says that there is none."""
    return "" if text == "common practice, no source" else f" ({text})"


def presets(_: str) -> Iterator[str]:
    """The presets with the fields that they set."""
    rows = (
        (f"`{one['id']}`", one["about"], f"`{json.dumps(one['sets'])}`")
        for one in answered_get("/v1/presets")["presets"]
    )
    yield from table(("Preset", "For", "Sets"), rows)


def reaches(_: str) -> Iterator[str]:
    """The named reaches in millimetres."""
    yield from table(("Reach", "mm"), ((f"`{name}`", f"{mm:g}") for name, mm in REACHES.items()))


def rhythms(_: str) -> Iterator[str]:
    """The comping rhythms."""
    rows = (
        (f"`{one['id']}`", one["about"], ", ".join(one["meters"]) or "all")
        for one in answered_get("/v1/rhythms")["rhythms"]
    )
    yield from table(("Rhythm", "Description", "Meters"), rows)


def functions(_: str) -> Iterator[str]:
    """The tensions that a chord's function adds and asks for."""
    rows = (
        (
            *row,
            ", ".join(COLOURS.get(row, ())),
            "; ".join(" or ".join(g) for g in WANTS.get(row, ())),
        )
        for row in dict.fromkeys((*COLOURS, *WANTS))
    )
    yield from table(("Function", "Type of chord", "May add", "Asks for"), rows)


def findings(_: str) -> Iterator[str]:
    """The findings of a review."""
    rows = ((f"`{code}`", severity, about) for code, (severity, about) in CODES.items())
    yield from table(("Code", "Severity", "Description"), rows)


def errors(_: str) -> Iterator[str]:
    """Every error code by status."""
    found = sorted(PROBLEMS.items(), key=lambda pair: (pair[1][0], pair[0]))
    rows = ((status, f"[`{code}`]({code}.md)", title) for code, (status, title) in found)
    yield from table(("Status", "Code", "Title"), rows)


def error(code: str) -> Iterator[str]:
    """The status and title of an error."""
    status, title = PROBLEMS[code]
    yield f"Status **{status}**: {title}."


def answer(code: str) -> Iterator[str]:
    """What the service answers to the request of an error's page."""
    request = next(block for block in blocks(MANUAL / f"errors/{code}.md") if block.kind == "http")
    yield "```json answer"
    yield json.dumps(answered(request), indent=2, ensure_ascii=False)
    yield "```"


def answered(request: Block) -> Any:
    """The problem that an ``http`` block meets, in a service with the variables of its words."""
    head, _, body = request.text.removesuffix("\n").partition("\n\n")
    first, *lines = head.splitlines()
    method, path = first.split()
    headers = dict(line.split(": ", 1) for line in lines)
    variables = dict(word.split("=", 1) for word in request.words)
    with tempfile.TemporaryDirectory() as folder, chdir(folder), patch.dict(os.environ, variables):
        Path("tokens").write_text("phone-app sha256:" + "0" * 64)
        client = (create_app() if variables else app()).test_client()
        for _ in range(2 if "SHORTWAY_RATE_LIMIT" in variables else 1):
            said = client.open(path, method=method, headers=headers, data=body.encode())
    found = (
        json.loads(said.get_data().splitlines()[0]) if "jsonl" in said.mimetype else said.get_json()
    )
    return found.get("problem", found)


def unusual_answer(code: str) -> Iterator[str]:
    """A problem that no request of a page brings about."""
    yield "```json answer"
    yield json.dumps(_UNUSUAL[code](), indent=2, ensure_ascii=False)
    yield "```"


def _posted(path: str, body: bytes, kind: str, **headers: str) -> Any:
    said = app().test_client().post(path, data=body, content_type=kind, headers=headers)
    found = json.loads(said.get_data().splitlines()[-1])
    return found.get("problem", found)


def _without_host() -> Any:
    environ = EnvironBuilder(path="/healthz").get_environ()
    del environ["HTTP_HOST"]
    return json.loads(b"".join(run_wsgi_app(app(), environ)[0]))


_LINES = "application/jsonl"
#: Problems whose request is not text, is too long to print, or does not reach the application.
_UNUSUAL: dict[str, Callable[[], Any]] = {
    "not-text": lambda: _posted("/v1/charts", b"| C | \xe9 |", "text/plain"),
    "body-too-large": lambda: _posted("/v1/paths", b" " * (2 << 20), "application/json"),
    "line-too-large": lambda: _posted("/v1/batches", b" " * (1 << 20) + b"{}", _LINES),
    "uri-too-long": lambda: answered_get("/v1/chords?symbol=" + "C" * 70_000),
    "bad-request": _without_host,
    **{
        code: partial(problem, code, detail)
        for code, detail in {
            "body-incomplete": "the body is incomplete: the connection ended",
            "forbidden": "this token may not do that",
            "length-required": "this call requires Content-Length, not chunks",
            "request-timeout": "the request did not arrive in time",
            "head-too-large": "the head is longer than the limit",
            "not-implemented": "the transfer coding is not known",
            "unavailable": "too many requests are waiting",
            "format-unavailable": "ABC notation needs the optional package music21, "
            "which is not installed here",
            "out-of-time": f"this takes more than 30 s: {OUT_OF_TIME}",
            "internal-error": "An internal error occurred and was logged. "
            "Quote X-Request-Id when you report it.",
        }.items()
    },
}


def options(command: str) -> Iterator[str]:
    """A command's usage, description and own options; those of a setting are the same in all."""
    found = main.commands[command]
    with click.Context(found, info_name=f"shortway {command}") as context:
        usage = " ".join(found.collect_usage_pieces(context))
        yield f"`shortway {command} {usage}`"
        yield ""
        yield inspect.cleandoc(found.help or "").partition("\f")[0]
        rows = [
            record
            for parameter in found.get_params(context)
            if (record := parameter.get_help_record(context)) and not _is_shared(parameter)
            if isinstance(parameter, click.Option) and "--help" not in record[0]
        ]
    if rows:
        yield ""
        yield from table(("Option", "Description"), ((f"`{name}`", text) for name, text in rows))


def setting_options(_: str) -> Iterator[str]:
    """The options that make a setting."""
    found = main.commands["solve"]
    with click.Context(found, info_name="shortway solve") as context:
        rows = [
            (f"`{record[0]}`", record[1])
            for parameter in found.get_params(context)
            if _is_shared(parameter) and (record := parameter.get_help_record(context))
        ]
    yield from table(("Option", "Description"), iter(rows))


def _is_shared(parameter: click.Parameter) -> bool:
    return parameter.name in FIELDS


def decisions(_: str) -> Iterator[str]:
    """The decision records in their order."""
    for file in sorted((MANUAL / "decisions").glob("[0-9]*.md")):
        title = file.read_text("utf-8").partition("\n")[0].removeprefix("# ")
        yield f"- [{file.name[:4]}]({file.name}) {title}"


def client_methods(_: str) -> Iterator[str]:
    """The client's calls."""
    rows = (
        (f"`{name}({', '.join(list(inspect.signature(method).parameters)[1:])})`",
         inspect.cleandoc(method.__doc__ or "").partition("\n")[0])
        for name, method in inspect.getmembers(Client, inspect.isfunction)
        if not name.startswith("_")
    )  # fmt: skip
    yield from table(("Call", "Answer"), rows)


def readers(_: str) -> Iterator[str]:
    """Every form and text format of a chart."""
    of_text = (
        (f"`{name}`", f"`{each.media_type}`", " ".join(f"`{end}`" for end in each.suffixes),
         ", ".join(f"`{option}`" for option in each.options) or "–", each.not_read)
        for name, each in TEXT_FORMATS.items()
    )  # fmt: skip
    sheets = (
        ("– (`measures`)", "`application/json`", "`.json`", "–", "–"),
        ("– (`musicxml`)", f"`{MUSICXML}`", "`.musicxml` `.xml`", "–", _SHEET_NOT_READ),
        ("– (`mxl`)", f"`{MXL}`", "`.mxl`", "–", _SHEET_NOT_READ),
    )
    heads = ("`text_format`", "Content type", "File", "Options", "Not read")
    yield from table(heads, iter([*of_text, *sheets]))


_SHEET_NOT_READ = "lyrics, layout, and notes that are no melody"


def markers(_: str) -> Iterator[str]:
    """The markers of tests that a plain run leaves out."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["pytest"]
    rows = (line.split(": ", 1) for line in settings["ini_options"]["markers"])
    yield from table(("Marker", "Tests"), ((f"`{name}`", about) for name, about in rows))


def metrics(_: str) -> Iterator[str]:
    """What ``/metrics`` counts, after a call."""
    client = app().test_client()
    client.get("/v1/chords?symbol=C7")
    text = client.get("/metrics").get_data(as_text=True)
    found = re.findall(r"^# HELP (shortway_\w+) (.*)$", text, re.M)
    yield from table(("Metric", "Description"), ((f"`{name}`", about) for name, about in found))


GENERATORS: dict[str, Callable[..., Iterator[str]]] = {
    made.__name__.replace("_", " "): made
    for made in (
        environment, calls, fields, further_fields, families, recipes, situations, prices, presets,
        reaches,
        rhythms, findings, functions, errors, error, answer, unusual_answer, options,
        setting_options, client_methods, decisions, markers, metrics, readers,
    )
}  # fmt: skip
