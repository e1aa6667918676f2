"""The manual's Markdown as HTML: headings with anchors, links between pages, tables that scroll.

Knows markdown-it-py and this folder's files; no Flask. A page's address is its path without
``.md``; ``index.md`` is the page of its folder. Raw HTML is dropped, so a page cannot hold scripts.
"""

from __future__ import annotations

import posixpath
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from importlib.resources import files
from importlib.resources.abc import Traversable
from itertools import pairwise
from typing import Any, Final

from markdown_it import MarkdownIt
from markdown_it.token import Token

#: Where the manual is served.
ROOT: Final = "/docs"
_INDEX: Final = "index"
_NOT_IN_ANCHORS: Final = re.compile(r"[^\w\- ]")


@dataclass(frozen=True, slots=True)
class Page:
    """A rendered page."""

    #: The text of its first heading.
    title: str
    #: HTML, the first heading included.
    body: str
    #: A section for each heading, the first one's included.
    sections: tuple[Section, ...]
    #: Addresses of other pages of the manual that it links to, in their order.
    links: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with the words below it, code left out.

    `tag`: ``h1`` to ``h6``. `links`: addresses that its words link to.
    """

    tag: str
    anchor: str
    heading: str
    text: str
    links: tuple[str, ...]


def address(path: str) -> str:
    """The address of a file of the manual.

    >>> address("charts.md"), address("errors/index.md"), address("pictures/keyboards.svg")
    ('/docs/charts', '/docs/errors', '/docs/pictures/keyboards.svg')
    """
    plain = path.removesuffix(".md")
    return (
        posixpath.join(ROOT, plain).removesuffix(f"/{_INDEX}")
        if plain != path
        else f"{ROOT}/{path}"
    )


@cache
def sources() -> Mapping[str, tuple[str, Traversable]]:
    """Path and file of every page and picture, by address."""
    found = _walk(files("shortway.docs"), "")
    return {address(path): (path, file) for path, file in found}


def _walk(folder: Traversable, path: str) -> Iterator[tuple[str, Traversable]]:
    for item in sorted(folder.iterdir(), key=lambda item: item.name):
        if item.is_dir():
            yield from _walk(item, f"{path}{item.name}/")
        elif item.name.endswith((".md", ".svg")):
            yield path + item.name, item


@cache
def page(at: str) -> Page:
    """The page at an address of `sources`. Raises KeyError if there is no page at that address."""
    path, file = sources()[at]
    markdown = _markdown()
    tokens = markdown.parse(file.read_text("utf-8"))
    links = list(_relink(tokens, posixpath.dirname(path)))
    _label_cells(tokens)
    sections = tuple(_sections(tokens))
    return Page(
        title=next((one.heading for one in sections if one.tag == "h1"), path),
        body=markdown.renderer.render(tokens, markdown.options, {}),
        sections=sections,
        links=tuple(dict.fromkeys(link for link in links if link in sources())),
    )


def anchor_of(text: str) -> str:
    """The anchor of a heading, as code hosts make it.

    >>> anchor_of("What it costs: `size`")
    'what-it-costs-size'
    """
    return _NOT_IN_ANCHORS.sub("", text.lower()).replace(" ", "-")


@cache
def _markdown() -> MarkdownIt:
    markdown = MarkdownIt("commonmark").enable("table")
    for name, rule in _RULES.items():
        markdown.add_render_rule(name, rule)
    return markdown


def _sections(tokens: Sequence[Token]) -> Iterator[Section]:
    """The sections; each heading gets its anchor, and tables are named after their heading."""
    starts = [i for i, token in enumerate(tokens) if token.type == "heading_open"]
    for start, end in pairwise([*starts, len(tokens)]):
        opening, inner, *below = tokens[start:end]
        heading = _words(inner)
        for token in below:
            token.meta["heading"] = heading
        opening.attrSet("id", anchor_of(heading))
        below[0].meta["anchor"] = anchor_of(heading)
        text = " ".join(_words(token) for token in below if token.type == "inline")
        links = (child.attrGet("href") for token in below for child in token.children or ())
        yield Section(
            opening.tag, anchor_of(heading), heading, text, tuple(str(one) for one in links if one)
        )


def _label_cells(tokens: Sequence[Token]) -> None:
    """Give each cell its column's title, which a narrow screen shows beside it."""
    titles: list[str] = []
    column = 0
    for token, inner in pairwise(tokens):
        if token.type == "table_open":
            titles = []
        elif token.type == "tr_open":
            column = 0
        elif token.type == "th_open":
            titles.append(_words(inner))
        elif token.type == "td_open":
            token.attrSet("data-label", titles[column] if column else "")
            column += 1


def _words(inline: Token) -> str:
    return "".join(
        " " if child.type == "softbreak" else child.content for child in inline.children or ()
    )


def _relink(tokens: Sequence[Token], folder: str) -> Iterator[str]:
    """Turn relative links to files into addresses; the addresses of pages, without anchors."""
    for child in (child for token in tokens for child in token.children or ()):
        name = {"link_open": "href", "image": "src"}.get(child.type)
        target = str(child.attrs[name]) if name else ""
        if target and not re.match(r"[a-z]+:|#|/", target):
            path, hash_, anchor = target.partition("#")
            found = address(posixpath.normpath(posixpath.join(folder, path)))
            child.attrs[str(name)] = found + hash_ + anchor
            yield found


def inline_code(text: str) -> str:
    """Code within a line: it breaks between words, never within one.

    >>> inline_code("--keep a.json")
    '<code><span>--keep</span> <span>a.json</span></code>'
    """
    words = text.split(" ")
    if len(words) == 1:
        return f"<code>{escape(text)}</code>"
    return f"<code>{' '.join(f'<span>{escape(word)}</span>' for word in words)}</code>"


# --- what markdown-it-py writes otherwise ---------------------------------------------------------


def _code(_: Any, tokens: Sequence[Token], index: int, *__: Any) -> str:
    """A block of code with its kind as a class; reached by keyboard, since it may scroll."""
    token = tokens[index]
    kind = escape(token.info.partition(" ")[0], quote=True)
    return f'<pre tabindex="0" class="{kind}"><code>{escape(token.content)}</code></pre>\n'


def _table(_: Any, tokens: Sequence[Token], index: int, *__: Any) -> str:
    """A table in a region of its own that scrolls, named after its heading."""
    before = sum(token.type == "table_open" for token in tokens[: index + 1])
    label = escape(f"Table {before}: {tokens[index].meta['heading']}", quote=True)
    return f'<div class="scroll" role="region" tabindex="0" aria-label="{label}">\n<table>\n'


def _heading_end(_: Any, tokens: Sequence[Token], index: int, *__: Any) -> str:
    """A link to the heading itself, but for a page's first, which its address leads to."""
    token = tokens[index]
    if token.tag == "h1":
        return "</h1>\n"
    name, anchor = escape(token.meta["heading"], quote=True), token.meta["anchor"]
    link = f'<a class="anchor" href="#{anchor}" aria-label="Link to {name}">#</a>'
    return f" {link}</{token.tag}>\n"


_RULES: Final[Mapping[str, Callable[..., str]]] = {
    "code_inline": lambda _, tokens, index, *__: inline_code(tokens[index].content),
    "heading_close": _heading_end,
    "html_block": lambda *_: "",
    "html_inline": lambda *_: "",
    "fence": _code,
    "table_open": _table,
    "table_close": lambda *_: "</table>\n</div>\n",
    "th_open": lambda *_: '<th scope="col">',
}
