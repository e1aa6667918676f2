"""The manual below ``/docs``: Markdown pages in the service's own frame.

Knows the manual's rendering and the page's template; nothing of what the pages say.
"""

from __future__ import annotations

from functools import cache
from html import escape
from importlib.resources import files
from string import Template
from typing import Final

from shortway.docs import rendering

#: Sections of a page that has a table of contents of its own.
_FEWEST: Final = 2


@cache
def manual_content(address: str) -> tuple[bytes, str]:
    """The page or picture at an address, and its media type.

    Raises
    ------
    KeyError
        The manual has nothing there.
    """
    file = rendering.sources()[address][1]
    if address.endswith(".svg"):
        return file.read_bytes(), "image/svg+xml"
    page = rendering.page(address)
    html = _template().substitute(
        title=escape(page.title), pages=_pages(address), body=page.body, sections=_sections(page)
    )
    return html.encode(), "text/html"


@cache
def _template() -> Template:
    return Template(files("shortway.page").joinpath("docs.html").read_text("utf-8"))


def _pages(here: str) -> str:
    """A link to the first page, and to each page that it links to."""
    return "".join(
        f'<li><a href="{address}"{_current(address, here)}>{escape(title)}</a></li>'
        for address, title in _contents()
    )


@cache
def _contents() -> tuple[tuple[str, str], ...]:
    addresses = (rendering.ROOT, *rendering.page(rendering.ROOT).links)
    return tuple((address, rendering.page(address).title) for address in addresses)


def _current(address: str, here: str) -> str:
    if address == here:
        return ' aria-current="page"'
    above = address != rendering.ROOT and here.startswith(f"{address}/")
    return ' aria-current="true"' if above else ""


def _sections(page: rendering.Page) -> str:
    """Links to the sections of a page that has several."""
    if len(page.sections) < _FEWEST:
        return ""
    links = "".join(f'<li><a href="#{id_}">{escape(text)}</a></li>' for id_, text in page.sections)
    return f'<nav aria-label="On this page"><strong>On this page</strong><ul>{links}</ul></nav>'
