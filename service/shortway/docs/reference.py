"""The API reference: each call of the OpenAPI document, ready for its page.

Knows the document's form; no call by name.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import parse_qsl

from shortway.docs.samples import JSON, Call, literal, samples
from shortway.docs.schema_fields import Field, Schemas

Json = Mapping[str, Any]

#: Where the reference is served; each call has a page below.
REFERENCE: Final = "/docs/reference"
_METHODS: Final = ("get", "post")


@dataclass(frozen=True, slots=True)
class Example:
    """A request with the code that sends it and what it is answered with.

    `body`: what is sent; empty without a body. `samples`: languages and code. `answer`: the
    response; empty where the document has none.
    """

    summary: str
    call: Call
    body: str
    samples: tuple[tuple[str, str], ...]
    answer: str


@dataclass(frozen=True, slots=True)
class Response:
    """A status with its description and headers, and its problem where it is one."""

    status: str
    about: str
    headers: tuple[str, ...]
    problem: str


@dataclass(frozen=True, slots=True)
class Operation:
    """A call; `kinds` are the media types of its body, `answers` those of its response."""

    id: str
    tag: str
    method: str
    path: str
    summary: str
    about: str
    is_deprecated: bool
    parameters: tuple[Field, ...]
    kinds: tuple[str, ...]
    request_name: str
    request: tuple[Field, ...]
    answers: tuple[str, ...]
    response_name: str
    response: tuple[Field, ...]
    responses: tuple[Response, ...]
    examples: tuple[Example, ...]

    @property
    def address(self) -> str:
        """Where its page is."""
        return f"{REFERENCE}/{self.id}"


def operations(document: Json) -> Iterator[Operation]:
    """Every call in the document's order."""
    for path, item in document["paths"].items():
        for method in _METHODS:
            if method in item:
                yield _operation(document, method.upper(), path, item[method])


def tags(document: Json) -> dict[str, str]:
    """What the groups of calls are about, by name."""
    return {tag["name"]: tag["description"] for tag in document["tags"]}


def _operation(document: Json, method: str, path: str, found: Json) -> Operation:
    schemas = Schemas(document["components"]["schemas"])
    sent = found.get("requestBody", {}).get("content", {})
    answered = found["responses"]["200"]["content"]
    request, response = _schema(sent), _schema(answered)
    return Operation(
        id=found["operationId"], tag=found["tags"][0], method=method, path=path,
        summary=found["summary"], about=found["description"],
        is_deprecated=found.get("deprecated", False),
        parameters=tuple(
            schemas.field(
                one["name"], {**one["schema"], "description": one["description"]},
                one["in"], one.get("required", False),
            )
            for one in found.get("parameters", ())
        ),
        kinds=tuple(sent), request_name=schemas.name_of(request),
        request=schemas.fields(request, "request"),
        answers=tuple(answered), response_name=schemas.name_of(response),
        response=schemas.fields(response, "response"),
        responses=tuple(_responses(document, found)),
        examples=tuple(_examples(method, path, found, sent, answered)),
    )  # fmt: skip


def _schema(content: Json) -> Json:
    """The schema of a body: of its lines where it has lines."""
    first: Json = next(iter(content.values()), {})
    found: Json = first.get("x-line-schema", first.get("schema", {}))
    return found


def _responses(document: Json, found: Json) -> Iterator[Response]:
    for status, given in found["responses"].items():
        name = given.get("$ref", "").rpartition("/")[2]
        one = document["components"]["responses"][name] if name else given
        problem = one.get("content", {}).get("application/problem+json", {}).get("example", {})
        yield Response(
            status, one["description"], tuple(one.get("headers", ())), problem.get("type", "")
        )


def _examples(method: str, path: str, found: Json, sent: Json, answered: Json) -> Iterator[Example]:
    """The calls of the document's examples; one without a body sends its required parameters."""
    answers = {
        name: (kind, one["value"])
        for kind, media in answered.items()
        for name, one in media.get("examples", {}).items()
    }
    default = next(iter(answered))
    query = tuple(
        (one["name"], str(one["schema"]["examples"][0]))
        for one in found.get("parameters", ())
        if one.get("required")
    )
    if not sent:
        kind, value = next(iter(answers.values()), (default, ""))
        yield _example(found["summary"], Call(method, path, query, "", None, "", kind), value)
    for body_kind, media in sent.items():
        shown = media.get("examples", {})
        for name, one in shown.items():
            if name not in answers and len(shown) > 1:
                continue
            kind, value = answers.get(name, (default, ""))
            given = (*query, *parse_qsl(one.get("x-query", "")))
            accept = "" if kind == default or "format" in dict(given) else kind
            call = Call(method, path, given, body_kind, one["value"], accept, kind)
            yield _example(one["summary"], call, value)


def _example(summary: str, call: Call, answer: Any) -> Example:
    body = "" if not call.kind else literal(call.body) if call.kind == JSON else call.body
    text = answer if isinstance(answer, str) else literal(answer)
    return Example(summary, call, body, samples(call), text)
