"""The response cache: the same request gets the same bytes, before the application is called.

Knows WSGI and HTTP, no noun. The response to a POST is a pure function of its request: method, URL,
body, and the headers that the key has. Only a successful one is stored, with its headers. A stored
one takes no place (`admission_control`), and neither routing nor parsing: what holds for every
request (authentication, rate limit) is checked here, and a request that does not pass goes to the
application, which rejects it. Telemetry and the standard headers are added outside. A GET is cheap
to answer: only its coded body is stored, by ETag.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from http import HTTPStatus
from typing import Any, Final
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

from flask import Flask, Response, current_app, request

from shortway.api.http.content_coding import IDENTITY, coding_of, encode, preferred_coding
from shortway.api.http.responses import Headers
from shortway.api.middleware.authentication import is_authenticated
from shortway.api.middleware.body_reader import is_streamed
from shortway.api.middleware.rate_limit import RATE_HEADERS, counted_headers
from shortway.core.cache import Cache, compact, set_budget
from shortway.request_trace import RequestState, current_request

Key = tuple[str, bytes]

_EXTENSION: Final = "shortway-answers"
_BUDGET: Final = 40 << 20
#: Bytes that an entry takes beside its body: key, digest and headers.
_OVERHEAD: Final = 900
#: Headers of a request that its response depends on; Accept-Encoding counts as what it prefers.
_VARYING: Final = ("CONTENT_TYPE", "QUERY_STRING", "HTTP_ACCEPT", "HTTP_ORIGIN")
_OK: Final = "200 OK"


@dataclass(frozen=True, slots=True)
class CachedResponse:
    """The bytes of a successful response, its headers, and the call that it is of."""

    body: bytes
    headers: Headers
    operation: str
    route: str | None


def init_response_cache(app: Flask) -> None:
    """Put `app` behind a response cache; the caches of this process get ``CACHE_MB`` together."""
    app.extensions[_EXTENSION] = Cache("answers", _BUDGET, _size)
    set_budget(app.config["CACHE_MB"] << 20)
    app.after_request(_encode)
    app.wsgi_app = _Caching(app)  # type: ignore[method-assign]


def _size(stored: CachedResponse) -> int:
    return len(stored.body) + _OVERHEAD


class _Caching:
    """The application behind its response cache."""

    def __init__(self, app: Flask) -> None:
        self._app = app
        self._application: WSGIApplication = app.wsgi_app
        self._cache: Cache[Key, CachedResponse] = app.extensions[_EXTENSION]

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        state = current_request()
        if state is None or state.body is None or not _may_be_stored(environ):
            return self._application(environ, start_response)
        key = _key(environ, state.body)
        stored = self._cache.find(key)
        if stored is None:
            return self._computed(environ, start_response, key, state)
        if not is_authenticated(self._app, environ):
            return self._application(environ, start_response)
        state.operation, state.route = stored.operation, stored.route
        counted = counted_headers(self._app, environ)
        if counted is None:
            return self._application(environ, start_response)
        state.is_cached = True
        start_response(_OK, [*stored.headers, *counted])
        return [stored.body]

    def _computed(
        self, environ: WSGIEnvironment, start_response: StartResponse, key: Key, state: RequestState
    ) -> Iterable[bytes]:
        """The application's response, which is stored if it is a successful one."""
        begun: list[tuple[str, Headers]] = []

        def start(status: str, headers: Headers, *error: Any) -> Any:
            begun.append((status, headers))
            return start_response(status, headers, *error)

        pieces = self._application(environ, start)
        status, headers = begun[-1]
        if status == _OK and isinstance(pieces, list):
            headers = [pair for pair in headers if pair[0] not in RATE_HEADERS]
            body = compact(b"".join(pieces))
            self._cache.put(key, CachedResponse(body, headers, state.operation, state.route))
        return pieces


def _may_be_stored(environ: WSGIEnvironment) -> bool:
    return (
        environ["REQUEST_METHOD"] == "POST"
        and "HTTP_HOST" in environ
        and "HTTP_CONTENT_ENCODING" not in environ
        and not is_streamed(environ)
    )


def _key(environ: WSGIEnvironment, body: bytes) -> Key:
    """The path, and a digest of all else that the response depends on."""
    parts = [environ.get(name, "") for name in _VARYING]
    parts.append(preferred_coding(environ.get("HTTP_ACCEPT_ENCODING", "")))
    digest = sha256("\0".join(parts).encode())
    digest.update(b"\0" + body)
    return environ["PATH_INFO"], digest.digest()


def _encode(response: Response) -> Response:
    """Code a response that is not coded yet; 304 where If-None-Match has the tag of its coding.

    A strong tag belongs to one representation (RFC 9110, section 8.8.3), so each coding has its
    own.
    """
    coding = coding_of(response)
    tag = response.get_etag()[0] if "ETag" in response.headers else None
    if tag and coding != IDENTITY:
        response.set_etag(f"{tag}-{coding}")
    if tag:
        response.make_conditional(request)
    if response.status_code != HTTPStatus.NOT_MODIFIED:
        _code(response, coding, tag)
    return response


def _code(response: Response, coding: str, tag: str | None) -> None:
    """Code a response; one with a tag is looked up first."""
    if tag is None or coding == IDENTITY:
        encode(response, coding)
        return
    cache: Cache[Key, CachedResponse] = current_app.extensions[_EXTENSION]
    key = coding, tag.encode()
    stored = cache.find(key)
    if stored is None:
        encode(response, coding)
        cache.put(key, CachedResponse(compact(response.get_data()), [], "", None))
        return
    response.set_data(stored.body)
    response.headers["Content-Encoding"] = coding
