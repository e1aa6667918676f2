"""Rate limits: for each token, or for each address without one.

Knows HTTP and Flask-Limiter, no noun. Counts are in Redis, for all processes and machines together,
else in this process's memory. While Redis is unavailable or slow each process counts by itself, and
tries Redis again after 1, 2, 4 … up to 32 seconds. Windows are fixed: one begins with the first
request.
"""

from __future__ import annotations

import ipaddress
import math
import re
import time
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from flask import Flask, Response, current_app, request
from werkzeug.middleware.proxy_fix import ProxyFix

from shortway.api.http import problems
from shortway.api.http.responses import Headers
from shortway.api.middleware.authentication import is_public
from shortway.config import ConfigurationError
from shortway.request_trace import current_request
from shortway.wire.problems import problem

if TYPE_CHECKING:
    from flask_limiter import Limiter, RequestLimit

RATE_HEADERS: Final = ("RateLimit", "RateLimit-Policy")
_EXTENSION: Final = "shortway-rates"
#: Seconds that Redis may take to respond: every request waits for it, up to three times.
_TIMEOUT: Final = 0.05
#: Bits of an IPv6 address that are counted: a household or a server has all addresses below.
_IPV6_BITS: Final = 64
#: Bits of the addresses of one site at most, and how many clients' limit it has.
_SITE_BITS: Final = 48
_SITE_SHARE: Final = 16
_WITH_PORT: Final = re.compile(r"\[([^]]*)\](?::\d+)?|([\d.]+):\d+")


def init_rate_limit(app: Flask) -> None:
    """Trust the configured proxies, and count requests, if `app` has a rate limit.

    Raises ConfigurationError if redis is configured and its client is not installed.
    """
    if proxies := app.config["TRUSTED_PROXIES"]:
        believed = ProxyFix(app.wsgi_app, x_for=proxies, x_proto=0)
        app.wsgi_app = believed  # type: ignore[method-assign]
    if app.config["RATE_LIMIT"]:
        limiter = _limiter(app)
        app.extensions[_EXTENSION] = limiter
        app.after_request(_add_headers)


def _limiter(app: Flask) -> Limiter:
    from flask_limiter import ApplicationLimit, Limiter, RateLimitExceeded
    from limits.errors import ConfigurationError as StorageError

    where, options = _storage(app.config["REDIS_URL"])
    amount, unit = app.config["RATE_LIMIT"].split("/")
    of_site = ApplicationLimit(
        f"{int(amount) * _SITE_SHARE}/{unit}",
        key_function=lambda: f"site {_network(_SITE_BITS)}",
        exempt_when=lambda: not _network(_SITE_BITS).endswith(f"/{_SITE_BITS}"),
    )
    limiter = Limiter(
        _client,
        application_limits=[app.config["RATE_LIMIT"], of_site],
        storage_uri=where,
        storage_options=options,
        in_memory_fallback_enabled=True,
        swallow_errors=True,  # of requests that were waiting when another found Redis gone
        key_prefix="shortway",
    )
    limiter.request_filter(_is_exempt)
    try:
        limiter.init_app(app)
    except StorageError:
        wanted = "SHORTWAY_REDIS_URL needs pip install 'shortway[redis]'"
        raise ConfigurationError(wanted) from None
    app.register_error_handler(RateLimitExceeded, _too_many)
    return limiter


def _storage(url: str) -> tuple[str, dict[str, Any]]:
    """The storage of the counts, as `limits` names it, and its options."""
    if not url:
        return "memory://", {}
    where = url.replace("unix://", "redis+unix://", 1) if url.startswith("unix://") else url
    options: dict[str, Any] = {"socket_timeout": _TIMEOUT, "socket_connect_timeout": _TIMEOUT}
    try:
        from shortway.api.middleware.redis_retry import CountedRetry
    except ImportError:
        return where, options
    return where, options | {"retry": CountedRetry()}


def redis_failures() -> int:
    """Commands of this process that Redis did not answer in time; 0 without its client."""
    try:
        from shortway.api.middleware.redis_retry import CountedRetry
    except ImportError:
        return 0
    return CountedRetry.failures


def _is_exempt() -> bool:
    """Whether a request is not counted: public URLs, the metrics, the application's own."""
    path = request.environ["PATH_INFO"]
    state = current_request()
    return is_public(path) or path == "/metrics" or (state is not None and state.is_internal)


def _client() -> str:
    """Whose request it is: a token's name, else the address."""
    state = current_request()
    name = state.client if state else None
    return f"token {name}" if name else f"address {counted_address(request.remote_addr or '')}"


def _network(bits: int) -> str:
    """The IPv6 network of a client without a token; anything else as it is counted."""
    state = current_request()
    return "" if state and state.client else counted_address(request.remote_addr or "", bits)


@lru_cache(maxsize=1024)
def counted_address(address: str, bits: int = _IPV6_BITS) -> str:
    """The part of an address, which may have a port, that is counted as one client.

    >>> [counted_address(text) for text in ("2001:db8::7", "::ffff:192.0.2.7", "")]
    ['2001:db8::/64', '192.0.2.7', 'unknown']
    >>> [counted_address(text) for text in ("192.0.2.7:4711", "[2001:db8::7]:4711")]
    ['192.0.2.7', '2001:db8::/64']
    """
    if (with_port := _WITH_PORT.fullmatch(address)) is not None:
        address = with_port[1] or with_port[2]
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return "unknown"
    if isinstance(found, ipaddress.IPv4Address):
        return str(found)
    if found.ipv4_mapped:
        return str(found.ipv4_mapped)
    return str(ipaddress.ip_network((found, bits), strict=False))


def _too_many(_: Exception) -> Response:
    limit = _limit()
    wait = _left(limit)[1] if limit else 1
    detail = f"the rate limit of {current_app.config['RATE_LIMIT']} is exceeded; retry in {wait} s"
    return problems.problem_response(
        problem("too-many-requests", detail), {"Retry-After": str(max(1, wait))}
    )


def _limit() -> RequestLimit | None:
    limiter: Limiter = current_app.extensions[_EXTENSION]
    return limiter.current_limit


def _left(limit: RequestLimit) -> tuple[int, int]:
    """Remaining requests, and seconds until the window ends."""
    reset, remaining = limit.window
    return remaining, max(0, math.ceil(reset - time.time()))


def counted_headers(app: Flask, environ: dict[str, Any]) -> Headers | None:
    """Count a request that `app` does not see, and the headers of its response.

    None where it is one too many: `app` counts it again, to no effect, and rejects it.
    """
    if _EXTENSION not in app.extensions:
        return []
    from flask_limiter import RateLimitExceeded

    with app.request_context(environ):
        try:
            app.preprocess_request()
        except RateLimitExceeded:
            return None
        return _headers()


def _headers() -> Headers:
    """``RateLimit`` and ``RateLimit-Policy`` (draft-ietf-httpapi-ratelimit-headers)."""
    limit = _limit()
    if limit is None:
        return []
    policy = limit.limit
    found = [("RateLimit-Policy", f'"default";q={policy.amount};w={policy.get_expiry()}')]
    try:
        remaining, reset = _left(limit)
    except Exception:  # Redis failed since it counted this request
        return found
    return [*found, ("RateLimit", f'"default";r={remaining};t={reset}')]


def _add_headers(response: Response) -> Response:
    response.headers.extend(_headers())
    return response
