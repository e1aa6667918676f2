"""The manual and the API reference below ``/docs``.

Knows HTTP; the pages are made by `shortway.docs.site`, at the first request of each.
"""

from collections.abc import Callable
from functools import cache

import orjson
from flask import Flask, Response

from shortway.api.http.pages import MANUAL, page_response
from shortway.api.http.problems import RequestError
from shortway.docs.site import Site


def register_manual(app: Flask, document: Callable[[], bytes]) -> None:
    """Serve the manual; `document` gives the OpenAPI document that the reference shows."""
    site = cache(lambda: Site(orjson.loads(document())))

    def manual(name: str = "") -> Response:
        try:
            return page_response(*site().content(f"{MANUAL}{name}".rstrip("/")))
        except KeyError:
            raise RequestError(
                "not-found", "no page of the manual has this name; /docs lists all"
            ) from None

    for address in (MANUAL, MANUAL.rstrip("/")):
        app.add_url_rule(address, "page manual", manual)
    app.add_url_rule(f"{MANUAL}<path:name>", "page of the manual", manual, strict_slashes=False)
