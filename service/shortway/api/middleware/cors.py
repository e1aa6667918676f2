"""CORS: origins of an allow list may call from a browser (the Fetch standard).

Knows HTTP and no noun. Origins are compared as a whole; there is no ``*``, and no credentials:
clients authenticate by token. A preflight is answered before authentication, since browsers send
no token with it.
"""

from collections.abc import Collection
from typing import Final

from flask import Flask, Response, current_app, request

from shortway.api.http.responses import empty_response

ORIGINS: Final = "CORS_ORIGINS"
#: Request headers that are allowed beside the safelisted ones.
_ALLOWED_HEADERS: Final = (
    "Authorization, Content-Type, Content-Encoding, If-None-Match, X-Request-Id"
)
#: Response headers that are exposed beside the safelisted ones.
EXPOSED_HEADERS: Final = (
    "API-Version", "X-Request-Id", "ETag", "Retry-After", "RateLimit", "RateLimit-Policy",
    "Content-Disposition", "WWW-Authenticate", "Deprecation", "Sunset", "Link",
)  # fmt: skip
_PREFLIGHT: Final = {
    "Access-Control-Allow-Methods": "GET, HEAD, POST",
    "Access-Control-Allow-Headers": _ALLOWED_HEADERS,
    "Access-Control-Max-Age": "7200",  # seconds; the most that all browsers accept
}


def init_cors(app: Flask) -> None:
    """Allow the configured origins, if there are any."""
    if app.config[ORIGINS]:
        app.before_request(_preflight)
        app.after_request(_allow)


def cors_headers(origin: str | None, allowed: Collection[str]) -> dict[str, str]:
    """The headers that let a page of `origin` read a response; none unless it is `allowed`.

    >>> cors_headers("https://evil.example", ["https://app.example"])
    {}
    """
    if origin is None or origin not in allowed:
        return {}
    return {
        "Access-Control-Allow-Origin": origin,
        "Access-Control-Expose-Headers": ", ".join(EXPOSED_HEADERS),
    }


def _preflight() -> Response | None:
    """The response to the preflight of an allowed origin."""
    asks = request.method == "OPTIONS" and "Access-Control-Request-Method" in request.headers
    if not (asks and request.headers.get("Origin") in current_app.config[ORIGINS]):
        return None
    return empty_response(_PREFLIGHT)


def _allow(response: Response) -> Response:
    """Add the origin's headers, and ``Vary``: caches must not serve it to another origin."""
    response.vary.add("Origin")
    origin = request.headers.get("Origin")
    response.headers.update(cors_headers(origin, current_app.config[ORIGINS]))
    return response
