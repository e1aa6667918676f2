"""Whose pages may call from a browser: the origins of an allow list (CORS, the Fetch standard).

Knows HTTP and no noun. An origin is allowed by its whole text; there is no ``*``, and no
credentials of the browser's own are ever asked for: who asks says so by a token. A preflight is
answered before anybody is asked for one, since browsers send none with it.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

from flask import Flask, Response, current_app, request

ORIGINS: Final = "CORS_ORIGINS"
#: What a page may send beside what any page may.
_TAKEN: Final = "Authorization, Content-Type, Content-Encoding, If-None-Match, X-Request-Id"
_METHODS: Final = "GET, HEAD, POST"
#: What a page may see of an answer beside what any page may.
EXPOSED_HEADERS: Final = (
    "API-Version", "X-Request-Id", "ETag", "Retry-After", "RateLimit", "RateLimit-Policy",
    "Content-Disposition", "WWW-Authenticate",
)  # fmt: skip
#: Seconds for which a browser need not ask again; the most that all of them keep.
_KEPT_SECONDS: Final = 7200


def init_cors(app: Flask) -> None:
    """Have `app` answer the pages of its allow list, if it has one."""
    if app.config[ORIGINS]:
        app.before_request(_preflight)
        app.after_request(_allow)


def cors_headers(origin: str | None, allowed: Collection[str]) -> dict[str, str]:
    """The headers that let a page of `origin` read an answer; none unless it is `allowed`.

    >>> cors_headers("https://evil.example", ["https://app.example"])
    {}
    """
    if origin is None or origin not in allowed:
        return {}
    return {
        "Access-Control-Allow-Origin": origin,
        "Access-Control-Expose-Headers": ", ".join(EXPOSED_HEADERS),
    }


def _is_allowed() -> bool:
    return request.headers.get("Origin") in current_app.config[ORIGINS]


def _preflight() -> Response | None:
    """The answer to a browser that asks whether it may ask."""
    asked = request.method == "OPTIONS" and "Access-Control-Request-Method" in request.headers
    if not (asked and _is_allowed()):
        return None
    response = Response(status=204)
    response.headers["Access-Control-Allow-Methods"] = _METHODS
    response.headers["Access-Control-Allow-Headers"] = _TAKEN
    response.headers["Access-Control-Max-Age"] = str(_KEPT_SECONDS)
    return response


def _allow(response: Response) -> Response:
    """Say who may read it; no cache gives one origin's answer to another."""
    response.vary.add("Origin")
    response.headers.update(
        cors_headers(request.headers.get("Origin"), current_app.config[ORIGINS])
    )
    return response
