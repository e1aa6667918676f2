"""Everything below ``/docs`` in one frame: manual, error pages, API reference, search index.

Knows the rendering of pages and the OpenAPI document that it is given; no Flask. Each page is
rendered once.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from shortway.docs import rendering
from shortway.docs.reference import REFERENCE, operations, tags
from shortway.docs.samples import BASE
from shortway.docs.search_index import entries

#: Address of the search's index.
INDEX: Final = f"{rendering.ROOT}/search.json"
#: Files that the frame loads, below `ASSETS`, with their media types.
FILES: Final = {
    "docs.css": "text/css",
    "docs.js": "text/javascript",
    "search.js": "text/javascript",
    "try_it.js": "text/javascript",
}
ASSETS: Final = f"{rendering.ROOT}/assets/"
_HTML: Final = "text/html"
#: Sections from which on a page has a table of contents.
_FEWEST: Final = 2


@dataclass(frozen=True, slots=True)
class Link:
    """An entry of the navigation, with those below it."""

    address: str
    title: str
    is_code: bool = False
    below: tuple[Link, ...] = ()


class Site:
    """The manual and the reference of one OpenAPI document."""

    def __init__(self, document: Mapping[str, Any]) -> None:
        self._operations = {one.address: one for one in operations(document)}
        self._tags = tags(document)
        self._templates = Environment(
            loader=PackageLoader("shortway.docs"), autoescape=True, undefined=StrictUndefined,
            trim_blocks=True, lstrip_blocks=True,
        )  # fmt: skip
        self._templates.filters["code"] = lambda text: Markup(rendering.inline_code(text))
        self._rendered: dict[str, tuple[bytes, str]] = {}

    def content(self, address: str) -> tuple[bytes, str]:
        """What is at an address, and its media type. Raises KeyError if there is nothing."""
        if address not in self._rendered:
            self._rendered[address] = self._render(address)
        return self._rendered[address]

    def addresses(self) -> list[str]:
        """Every page, picture and file; the index of the search too."""
        assets = (ASSETS + name for name in FILES)
        return [*rendering.sources(), REFERENCE, *self._operations, INDEX, *assets]

    def _render(self, address: str) -> tuple[bytes, str]:
        if address == INDEX:
            return self._index(), "application/json"
        if address.startswith(ASSETS):
            kind = FILES[address.removeprefix(ASSETS)]
            return files("shortway.docs").joinpath(
                address.removeprefix("/docs/")
            ).read_bytes(), kind
        if address.endswith(".svg"):
            return rendering.sources()[address][1].read_bytes(), "image/svg+xml"
        return self._page(address).encode(), _HTML

    def _page(self, address: str) -> str:
        if address == REFERENCE:
            found = self._operations.values()
            return self._framed("reference.html", address, operations=found, tags=self._tags)
        if one := self._operations.get(address):
            return self._framed("operation.html", address, operation=one, base=BASE)
        page = rendering.page(address)
        second = [one for one in page.sections if one.tag == "h2"]
        sections = second if len(second) >= _FEWEST else []
        body = Markup(page.body)
        return self._framed("page.html", address, title=page.title, body=body, sections=sections)

    def _framed(self, template: str, address: str, **values: Any) -> str:
        groups = [(title, list(self._links(found))) for title, found in _groups()]
        return self._templates.get_template(template).render(
            address=address, groups=groups, index=INDEX, assets=ASSETS, **values
        )

    def _links(self, addresses: tuple[str, ...]) -> Iterator[Link]:
        for address in addresses:
            if address == REFERENCE:
                calls = tuple(
                    Link(one.address, f"{one.method} {one.path}", is_code=True)
                    for one in self._operations.values()
                )
                yield Link(address, "API reference", below=calls)
                continue
            page = rendering.page(address)
            below = (at for at in page.links if at.startswith(f"{address}/"))
            yield Link(
                address, page.title, below=tuple(Link(at, rendering.page(at).title) for at in below)
            )

    def _index(self) -> bytes:
        pages = (at for at in rendering.sources() if not at.endswith(".svg"))
        found = list(entries(pages, self._operations.values()))
        return json.dumps(found, ensure_ascii=False, separators=(",", ":")).encode()


def _groups() -> Iterator[tuple[str, tuple[str, ...]]]:
    """The sections of the first page with the pages that they link to."""
    for section in rendering.page(rendering.ROOT).sections:
        known = (at for at in section.links if at == REFERENCE or at in rendering.sources())
        if section.tag == "h2" and (addresses := tuple(known)):
            yield section.heading, addresses
