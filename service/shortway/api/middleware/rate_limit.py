"""How often each may ask: a limit for each token, or for each address without one.

Knows HTTP, Flask-Limiter and who asks (`authentication`), no noun. Counts live in Redis, for
all processes and machines together, or else in this process alone. While Redis is away each
process counts by itself, and asks for it again after 1, 2, 4 … up to 32 seconds. Windows are
fixed: one begins with the first request.
"""

from __future__ import annotations

import ipaddress
import math
import time
from typing import TYPE_CHECKING, Any, Final

from flask import Flask, Response, current_app, request
from werkzeug.middleware.proxy_fix import ProxyFix

from shortway.api.http import problems
from shortway.api.middleware.authentication import ASKER, INSIDE, is_public
from shortway.config import ConfigurationError
from shortway.wire.problems import problem

if TYPE_CHECKING:
    from flask_limiter import Limiter, RequestLimit

_EXTENSION: Final = "shortway-rates"
#: Seconds that Redis may take for an answer; it stands in every request's way.
_PATIENCE: Final = 0.25
#: Bits of an IPv6 address that count: a household or a server has all addresses below them.
_IPV6_BITS: Final = 64


def init_rate_limit(app: Flask) -> None:
    """Have `app` believe its proxies, and count who asks, if there is a limit.

    Raises
    ------
    ConfigurationError
        If Redis is asked for and its client is not installed.
    """
    if proxies := app.config["TRUSTED_PROXIES"]:
        believed = ProxyFix(app.wsgi_app, x_for=proxies, x_proto=0)
        app.wsgi_app = believed  # type: ignore[method-assign]
    if app.config["RATE_LIMIT"]:
        limiter = _limiter(app)
        app.extensions[_EXTENSION] = limiter
        app.after_request(_say_what_is_left)


def _limiter(app: Flask) -> Limiter:
    from flask_limiter import Limiter, RateLimitExceeded
    from limits.errors import ConfigurationError as StorageError

    where, options = _storage(app.config["REDIS_URL"])
    limiter = Limiter(
        _asker,
        application_limits=[app.config["RATE_LIMIT"]],
        storage_uri=where,
        storage_options=options,
        in_memory_fallback_enabled=True,
        key_prefix="shortway",
    )
    limiter.request_filter(_is_free)
    try:
        limiter.init_app(app)
    except StorageError:
        wanted = "SHORTWAY_REDIS_URL needs pip install 'shortway[redis]'"
        raise ConfigurationError(wanted) from None
    app.register_error_handler(RateLimitExceeded, _refused)
    return limiter


def _storage(url: str) -> tuple[str, dict[str, Any]]:
    """Where counts live, and how it is asked."""
    if not url:
        from shortway.api.middleware import fixed_windows as windows

        return f"{windows.SCHEME}://", {}
    where = url.replace("unix://", "redis+unix://", 1) if url.startswith("unix://") else url
    options: dict[str, Any] = {
        "socket_timeout": _PATIENCE,
        "socket_connect_timeout": _PATIENCE,
    }
    try:
        from redis.backoff import NoBackoff
        from redis.retry import Retry
    except ImportError:
        return where, options
    return where, options | {"retry": Retry(NoBackoff(), 1)}


def _is_free() -> bool:
    """Whether a request counts for nobody: what is open, the figures, the service's own."""
    path = request.environ["PATH_INFO"]
    return INSIDE in request.environ or is_public(path) or path == "/metrics"


def _asker() -> str:
    """Whose request it is: a token's name, else the address."""
    name = request.environ.get(ASKER)
    return f"token {name}" if name else f"address {counted_address(request.remote_addr or '')}"


def counted_address(address: str) -> str:
    """What of an address counts as one.

    >>> [counted_address(text) for text in ("2001:db8::7", "::ffff:192.0.2.7", "")]
    ['2001:db8::/64', '192.0.2.7', 'unknown']
    """
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return "unknown"
    if isinstance(found, ipaddress.IPv4Address):
        return str(found)
    if found.ipv4_mapped:
        return str(found.ipv4_mapped)
    return str(ipaddress.ip_network((found, _IPV6_BITS), strict=False))


def _refused(_: Exception) -> Response:
    limit = _limit()
    wait = _left(limit)[1] if limit else 1
    detail = f"more than {current_app.config['RATE_LIMIT']} were asked; wait {wait} s"
    return problems.problem_response(
        problem("too-many-requests", detail), {"Retry-After": str(max(1, wait))}
    )


def _limit() -> RequestLimit | None:
    limiter: Limiter = current_app.extensions[_EXTENSION]
    return limiter.current_limit


def _left(limit: RequestLimit) -> tuple[int, int]:
    """Requests that are left, and seconds until the window ends; read once for each request."""
    reset, remaining = limit.window
    return remaining, max(0, math.ceil(reset - time.time()))


def _say_what_is_left(response: Response) -> Response:
    """``RateLimit`` and ``RateLimit-Policy``, as draft-ietf-httpapi-ratelimit-headers has them."""
    limit = _limit()
    if limit is None:
        return response
    policy = limit.limit
    response.headers["RateLimit-Policy"] = f'"default";q={policy.amount};w={policy.get_expiry()}'
    try:
        remaining, reset = _left(limit)
    except Exception:  # Redis went since it counted this request: the next one is told
        return response
    response.headers["RateLimit"] = f'"default";r={remaining};t={reset}'
    return response
