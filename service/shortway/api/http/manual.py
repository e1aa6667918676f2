"""The manual and the API reference below ``/docs``.

Knows HTTP; the pages are made by `shortway.docs.site`, at the first request of each.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import orjson
from flask import Flask, Response, current_app

from shortway.api.http.pages import MANUAL, page_response
from shortway.api.http.problems import RequestError
from shortway.docs.site import Site

_EXTENSION: Final = "shortway-manual"


def register_manual(app: Flask, document: Callable[[Flask], bytes]) -> None:
    """Serve the manual; `document` gives the OpenAPI document that the reference shows."""

    def manual(name: str = "") -> Response:
        try:
            return page_response(*_site(document).content(f"{MANUAL}{name}".rstrip("/")))
        except KeyError:
            raise RequestError(
                "not-found", "no page of the manual has this name; /docs lists all"
            ) from None

    for address in (MANUAL, MANUAL.rstrip("/")):
        app.add_url_rule(address, "page manual", manual)
    app.add_url_rule(f"{MANUAL}<path:name>", "page of the manual", manual, strict_slashes=False)


def _site(document: Callable[[Flask], bytes]) -> Site:
    app = current_app
    if _EXTENSION not in app.extensions:
        app.extensions[_EXTENSION] = Site(orjson.loads(document(app._get_current_object())))  # type: ignore[attr-defined]
    found: Site = app.extensions[_EXTENSION]
    return found
