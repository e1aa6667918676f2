"""The response cache: the same body to the same call gets the same bytes, without being parsed.

Knows HTTP and no noun. The response to a POST is a pure function of its request. Only successful
responses are stored (an error is raised, and raised again); headers such as X-Request-Id are added
to each. What must hold for every request (authentication, rate limit, Accept) is checked before.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import wraps
from hashlib import sha256
from typing import Any, Final

from flask import Flask, Response, current_app, request

from shortway.api.http.request_body import body_bytes
from shortway.api.http.responses import negotiate
from shortway.core.cache import Cache
from shortway.request_trace import update_request

_EXTENSION: Final = "shortway-answers"
#: Bytes that an entry takes beside its body: key, digest, and the cache's own.
_OVERHEAD: Final = 500
#: Headers of a response that are stored with its body.
_STORED: Final = ("Content-Type", "Content-Disposition", "Vary")


@dataclass(frozen=True, slots=True)
class CachedResponse:
    """The bytes of a response, and its headers."""

    body: bytes
    headers: tuple[tuple[str, str], ...]

    @classmethod
    def of(cls, response: Response) -> CachedResponse:
        """What is stored of a response."""
        headers = response.headers
        stored = tuple((name, headers[name]) for name in _STORED if name in headers)
        return cls(response.get_data(), stored)

    def response(self) -> Response:
        """The response again."""
        return Response(self.body, headers=self.headers)


ResponseCache = Cache[tuple[str, bytes], CachedResponse]


def init_response_cache(app: Flask) -> None:
    """Give `app` a response cache of ``ANSWER_CACHE_MB``, or none where that is 0."""
    budget = app.config["ANSWER_CACHE_MB"] * 1024 * 1024
    app.extensions[_EXTENSION] = Cache("answers", budget, _size) if budget else None


def _size(stored: CachedResponse) -> int:
    return len(stored.body) + _OVERHEAD


def cached(view: Callable[..., Response], kinds: Sequence[str] = ()) -> Callable[..., Response]:
    """`view`, which is not called where the response to the same body is in the cache.

    Responses of a view that returns several `kinds` are stored by kind.
    """

    @wraps(view)
    def call(*args: Any, **named: Any) -> Response:
        cache: ResponseCache | None = current_app.extensions[_EXTENSION]
        if cache is None or "HTTP_CONTENT_ENCODING" in request.environ:
            return view(*args, **named)
        made: list[Response] = []

        def compute() -> CachedResponse:
            made.append(view(*args, **named))
            return CachedResponse.of(made[0])

        stored = cache.get(_key(kinds), compute)
        if made:
            return made[0]
        update_request(is_cached=True)
        return stored.response()

    return call


def _key(kinds: Sequence[str]) -> tuple[str, bytes]:
    """The path, and a digest of the response's kind and the request's content type and body."""
    digest = sha256(request.environ.get("CONTENT_TYPE", "").encode())
    if kinds:
        digest.update(b"\0" + negotiate(kinds).encode())
    digest.update(b"\0")
    digest.update(body_bytes())
    return request.environ["PATH_INFO"], digest.digest()
