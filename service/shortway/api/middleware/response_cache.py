"""The response cache: the same request gets the same bytes, neither parsed nor compressed again.

Knows HTTP and no noun. The response to a POST is a pure function of its request. Only successful
responses are stored (an error is raised, and raised again), one for each content coding; headers
such as X-Request-Id are added to each. What must hold for every request (authentication, rate
limit, Accept) is checked before. A GET is cheap to answer: only its coded body is stored, by ETag.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import wraps
from hashlib import sha256
from http import HTTPStatus
from typing import Any, Final

from flask import Flask, Response, current_app, request

from shortway.api.http.content_coding import IDENTITY, coding_of, encode, preferred_coding
from shortway.api.http.problems import RequestError
from shortway.api.http.request_body import body_bytes
from shortway.api.http.responses import negotiate
from shortway.core.cache import Cache, compact, set_budget
from shortway.request_trace import update_request

_EXTENSION: Final = "shortway-answers"
_BUDGET: Final = 64 << 20
#: Bytes that an entry takes beside its body: key, digest and headers.
_OVERHEAD: Final = 500
#: Headers of a response that are stored with its body.
_STORED: Final = ("Content-Type", "Content-Encoding", "Content-Disposition", "Vary")


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
        return cls(compact(response.get_data()), stored)

    def response(self) -> Response:
        """The response again."""
        return Response(self.body, headers=self.headers)


ResponseCache = Cache[tuple[str, bytes], CachedResponse]


def init_response_cache(app: Flask) -> None:
    """Give `app` a response cache, and the caches of this process ``CACHE_MB`` together."""
    app.extensions[_EXTENSION] = Cache("answers", _BUDGET, _size)
    set_budget(app.config["CACHE_MB"] << 20)
    app.after_request(_encode)


def _size(stored: CachedResponse) -> int:
    return len(stored.body) + _OVERHEAD


def cached(view: Callable[..., Response], kinds: Sequence[str] = ()) -> Callable[..., Response]:
    """`view`, which is not called where the response to the same body is in the cache.

    Responses of a view that returns several `kinds` are stored by kind.
    """

    @wraps(view)
    def call(*args: Any, **named: Any) -> Response:
        cache: ResponseCache = current_app.extensions[_EXTENSION]
        if "HTTP_CONTENT_ENCODING" in request.environ:
            return view(*args, **named)
        made: list[Response] = []

        def compute() -> CachedResponse:
            response = view(*args, **named)
            encode(response, coding_of(response))
            made.append(response)
            return CachedResponse.of(response)

        stored = cache.get(_key(kinds), compute)
        if made:
            return made[0]
        update_request(is_cached=True)
        return stored.response()

    return call


def _key(kinds: Sequence[str]) -> tuple[str, bytes]:
    """The path, and a digest of the response's kind and coding and the request's type and body."""
    environ = request.environ
    parts = (
        environ.get("CONTENT_TYPE", ""),
        environ.get("QUERY_STRING", ""),
        _accepted(kinds) if kinds else "",
        preferred_coding(),
    )
    digest = sha256("\0".join(parts).encode())
    digest.update(b"\0" + body_bytes())
    return environ["PATH_INFO"], digest.digest()


def _accepted(kinds: Sequence[str]) -> str:
    """The kind that is accepted; none where only `format` can choose one."""
    try:
        return negotiate(kinds)
    except RequestError:
        return ""


def _encode(response: Response) -> Response:
    """Code a response that is not coded yet; 304 where If-None-Match has the tag of its coding.

    A strong tag belongs to one representation (RFC 9110, section 8.8.3), so each coding has its
    own.
    """
    coding = coding_of(response)
    tag = response.get_etag()[0]
    if tag and coding != IDENTITY:
        response.set_etag(f"{tag}-{coding}")
    if tag:
        response.make_conditional(request)
    if response.status_code != HTTPStatus.NOT_MODIFIED:
        _code(response, coding, tag)
    return response


def _code(response: Response, coding: str, tag: str | None) -> None:
    """Code a response; one with a tag is looked up first."""
    cache: ResponseCache = current_app.extensions[_EXTENSION]
    if tag is None or coding == IDENTITY:
        return encode(response, coding)

    def compute() -> CachedResponse:
        encode(response, coding)
        return CachedResponse.of(response)

    stored = cache.get((coding, tag.encode()), compute)
    response.set_data(stored.body)
    response.headers["Content-Encoding"] = coding
    return None
