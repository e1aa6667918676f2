"""The index of the manual's search: what the browser looks through, one entry a section or field.

Knows rendered pages and the reference; the ranking is `assets/search.js`.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Final

from shortway.docs import rendering
from shortway.docs.reference import Operation
from shortway.docs.schema_fields import Field

Entry = Mapping[str, str]

_DECISIONS: Final = f"{rendering.ROOT}/decisions"


def entries(pages: Iterable[str], operations: Iterable[Operation]) -> Iterator[Entry]:
    """Address, page, heading and text of whatever can be found; pages first.

    Decision records are marked as such, so that they come after the manual.
    """
    for address in pages:
        page = rendering.page(address)
        kind = "decision" if address.startswith(_DECISIONS) else "manual"
        for section in page.sections:
            at = address if section.tag == "h1" else f"{address}#{section.anchor}"
            yield _entry(kind, at, page.title, section.heading, section.text)
    seen: set[str] = set()
    for one in operations:
        title = f"{one.method} {one.path}"
        yield _entry("call", one.address, title, one.summary, f"{one.id} {one.about}")
        for field in (*one.parameters, *one.request, *one.response):
            yield from _fields(field, one.address, title, seen)


def _entry(kind: str, at: str, page: str, heading: str, text: str) -> Entry:
    return {"kind": kind, "at": at, "page": page, "heading": heading, "text": text}


def _fields(field: Field, address: str, title: str, seen: set[str]) -> Iterator[Entry]:
    """A field and those below it, each once however many calls have it."""
    text = " ".join((field.about, *field.values))
    if (said := f"{field.name} {text}") not in seen:
        seen.add(said)
        yield _entry("field", f"{address}#{field.anchor}", title, field.name, text)
    for inner in field.fields:
        yield from _fields(inner, address, title, seen)
