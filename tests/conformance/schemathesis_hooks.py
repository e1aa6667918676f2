"""What schemathesis is told beside its configuration: lines and sheets as bodies, two more checks.

Loaded by tests/conformance/schemathesis.toml into schemathesis's own process.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from typing import Any

import schemathesis
from schemathesis import (
    Case,
    CheckContext,
    DeserializationContext,
    HookContext,
    Response,
    SerializationContext,
)

from shortway.scores.chart_files.formats import DEFAULT_FORMAT, TEXT_FORMATS

LINES = ("application/jsonl", "application/x-ndjson")
SCORES = ("audio/midi", "image/svg+xml")
SHEETS = ("application/vnd.recordare.musicxml+xml", "application/vnd.recordare.musicxml")

#: Calls whose body may be a chart, and options of the query that go with few charts or few other
#: options; tests/api/resources has them.
_FEW = (
    "measure_each", "meter", "reach_mm", "from_measure", "to_measure", "hits_measures",
    "hits_meter",
)  # fmt: skip
RAW = {
    "/v1/charts": ("measure_each", "meter", "tempo"),
    "/v1/scores": _FEW,
    "/v1/performances": _FEW,
}

#: Fields of a body that go with few others: absent where another field is tried at its limits.
ALONE = ("notes", "reach_mm", "hits_measures", "hits_meter", "midi_file", "align")

#: Codes of a 422 to a request that fits its schema, and what no schema could have said.
MEANING = {
    "symbol-unreadable": "a symbol is a text, and few texts are chords",
    "chart-unreadable": "so is a chart, and a lead sheet",
    "beats-do-not-fit": "beats have to add up to the measure",
    "no-voicing": "hands, range and recipe may leave a chord nothing",
    "pin-unplayable": "a pin has to be met by a listed voicing",
    "measures-needed": "a text may leave out bar lines",
    "notes-needed": "families may share no one number of voices",
    "search-too-large": "sizes multiply",
    "played-unreadable": "as many steps must be played as the chart has",
    "midi-unreadable": "a MIDI file is a text in base64, and few texts are one",
    "out-of-range": "values that are right alone may not go together",
}


# --- bodies ---------------------------------------------------------------------------------------


@schemathesis.hook
def before_load_schema(_: HookContext, schema: dict[str, Any]) -> None:
    """A batch is a list of lines to the generator: OpenAPI 3.1 can only call it a text. The token
    that a service may ask for, this one does. Null means absent, which the document says in words:
    clients are generated from it, and a type for each null would be in their way."""
    operation = schema["paths"]["/v1/batches"]["post"]
    for holder in (operation["requestBody"], operation["responses"]["200"]):
        for media in holder["content"].values():
            media["schema"] = {"type": "array", "items": media["x-line-schema"]}
            for example in media["examples"].values():
                example["value"] = list(map(json.loads, example["value"].splitlines()))
    other = operation["requestBody"]["content"][LINES[1]]  # the same lines by another name
    other["schema"] = {"enum": [example["value"] for example in other["examples"].values()]}
    for calls in schema["paths"].values():
        for call in calls.values():
            call["security"] = [asked for asked in call["security"] if asked]
    schemas = schema["components"]["schemas"]
    for component in schemas.values():
        if component.get("additionalProperties") is False:
            fields, required = component["properties"], component.get("required", ())
            for name in fields.keys() - set(required):
                fields[name] = {"anyOf": [fields[name], {"type": "null"}]}
                if name in ALONE:
                    fields[name]["examples"] = [None]
    for path, left_out in RAW.items():
        call = schema["paths"][path]["post"]
        call["parameters"] = [p for p in call["parameters"] if p["name"] not in left_out]
        for kind, media in call["requestBody"]["content"].items():
            if kind != "application/json" and "examples" in media:  # few texts are charts
                charts = [example["value"] for example in media["examples"].values()]
                media["schema"] = {"type": "string", "enum": charts}
    schemas["ChartInput"] = {"anyOf": list(_charts(schemas["ChartInput"]["properties"]))}


def _charts(fields: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The kinds of a chart, which a plain object cannot tell apart."""
    texts = {"text_format", *(name for kind in TEXT_FORMATS.values() for name in kind.options)}
    of_measures = fields.keys() - texts - {"text", "musicxml", "mxl"} | {"meter"}
    for main, others in (("measures", of_measures), ("musicxml", ()), ("mxl", ())):
        yield _chart(fields, main, others)
    for name, kind in TEXT_FORMATS.items():
        found = _chart(fields, "text", kind.options)
        if name == DEFAULT_FORMAT:  # the one kind that has the others' fields, as null
            for other in fields.keys() - found["properties"].keys():
                found["properties"][other] = {"type": "null"}
        found["properties"]["text_format"] = {"enum": [name, *[None] * (name == DEFAULT_FORMAT)]}
        found["required"] += [] if name == DEFAULT_FORMAT else ["text_format"]
        yield found


def _chart(fields: dict[str, Any], main: str, others: Iterable[str]) -> dict[str, Any]:
    """A chart with a field that has to be there, and others; the rest is null or absent."""
    own = {name: fields[name] for name in {main, *others}}
    own[main] = own[main]["anyOf"][0]
    return {
        "type": "object",
        "properties": own,
        "required": [main],
        "additionalProperties": False,
    }


@schemathesis.serializer(*LINES)
def as_lines(_: SerializationContext, value: Any) -> bytes:
    """A line for each item; what is no list is one line."""
    lines = value if isinstance(value, list) else [value]
    return "\n".join(map(json.dumps, lines)).encode()


@schemathesis.deserializer(*LINES)
def from_lines(_: DeserializationContext, response: Response) -> list[Any]:
    """The values of the lines."""
    return list(map(json.loads, response.content.splitlines()))


@schemathesis.serializer(*SHEETS)
def as_it_is(_: SerializationContext, value: Any) -> bytes:
    """A sheet is bytes already; what is none goes as the text that Python makes of it."""
    return value if isinstance(value, bytes) else str(value).encode("utf-8", "surrogatepass")


@schemathesis.deserializer(*SHEETS, *SCORES)
def as_a_file(_: DeserializationContext, response: Response) -> str:
    """A file, as the document has it: a text, which bytes are written as one for one."""
    return response.content.decode("latin-1")


# --- checks ---------------------------------------------------------------------------------------


def fits(case: Case) -> bool:
    """Whether the request was made to fit the document."""
    return case.meta is not None and case.meta.generation.mode.is_positive


@schemathesis.check
def refused_for_its_meaning(_: CheckContext, response: Response, case: Case) -> None:
    """What fits the document is refused with one of the codes for what no schema can say."""
    if response.status_code == 422 and fits(case):
        code = json.loads(response.content)["code"]
        assert code in MEANING, f"{code} for a request that fits the document"


@schemathesis.check
def a_line_for_a_line(_: CheckContext, response: Response, case: Case) -> None:
    """A batch has as many answers as lines; those to fitting lines are paths or `MEANING`."""
    if (case.method, case.path, response.status_code) != ("POST", "/v1/batches", 200):
        return
    told = [json.loads(line) for line in response.content.splitlines()]
    sent = case.body if isinstance(case.body, list) else [case.body]
    assert len(told) == len(sent)
    if fits(case):
        codes = {line["problem"]["code"] for line in told if line["problem"]}
        assert codes <= set(MEANING), f"{codes} for lines that fit the document"
