"""The page at ``/`` and its files, and how every page is sent.

Knows HTTP and the package's files, no noun. Pages load nothing from other hosts, and their content
security policy allows scripts, styles and requests of this service only.
"""

from collections.abc import Iterator, Mapping
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Final

import orjson
from flask import Flask, Response

from shortway.api.http.problems import RequestError
from shortway.api.http.request_body import reject_query
from shortway.api.http.responses import negotiate, with_etag
from shortway.page import example_charts

POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_HEADERS: Final = {"Content-Security-Policy": POLICY, "Cross-Origin-Opener-Policy": "same-origin"}
_CACHE: Final = "public, max-age=300"
#: Addresses of the pages, with their files.
PAGES: Final[Mapping[str, str]] = {"/": "index.html"}
#: Where the manual's pages are; its first page is there without the slash, too.
MANUAL: Final = "/docs/"
_TYPES_SERVED: Final = (".css", ".js", ".svg")


def _page_files(folder: Traversable, path: str = "") -> Iterator[str]:
    for entry in sorted(folder.iterdir(), key=lambda one: one.name):
        if entry.is_dir():
            yield from _page_files(entry, f"{path}{entry.name}/")
        elif entry.name.endswith(_TYPES_SERVED):
            yield path + entry.name


#: Files that the pages load, below ``/page/``.
FILES: Final = (*_page_files(files("shortway.page")), "examples.json")
_TYPES: Final = {
    "html": "text/html", "css": "text/css", "js": "text/javascript", "json": "application/json",
    "svg": "image/svg+xml",
}  # fmt: skip


def register_pages(app: Flask) -> None:
    """Serve the page and its files."""
    for address, name in PAGES.items():
        app.add_url_rule(address, f"page {name}", lambda name=name: _sent(name))
    app.add_url_rule("/page/<path:name>", "page file", _file)


def _file(name: str) -> Response:
    if name not in FILES:
        raise RequestError("not-found", "no file has this name")
    return _sent(name)


def _sent(name: str) -> Response:
    return page_response(_read(name), _TYPES[name.rpartition(".")[2]])


def page_response(content: bytes, kind: str) -> Response:
    """A page or a file of one, under the pages' policy."""
    negotiate((kind,))
    reject_query()
    response = Response(content, mimetype=kind)
    response.headers.update(_HEADERS)
    return with_etag(response, _CACHE)


@cache
def _read(name: str) -> bytes:
    if name == "examples.json":
        return _examples()
    return files("shortway.page").joinpath(name).read_bytes()


def _examples() -> bytes:
    """The example charts with their titles."""
    found = [
        {"title": text.partition("\n")[0].removeprefix("title:").strip(), "text": text}
        for _, text in example_charts()
    ]
    return orjson.dumps(found)
