"""Answers kept as bytes: the same body to the same call is answered without being read.

Knows HTTP and no noun. An answer is a pure function of its request, so what a POST was answered
may be said again. Only good answers are kept (a refusal is raised, and raised again); headers of
the moment are added to each. Whatever must hold for every request, such as who asks and what they
accept, is checked before a view and so before this.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import wraps
from hashlib import sha256
from typing import Any, Final

from flask import Flask, Response, current_app, request

from shortway.api.http import request_body as bodies
from shortway.api.http.responses import negotiate
from shortway.core.cache import Cache
from shortway.request_trace import note

_EXTENSION: Final = "shortway-answers"
_DISPOSITION: Final = "Content-Disposition"
#: Bytes that an entry takes beside its body: key, digest, and the cache's own.
_OVERHEAD: Final = 500

#: An answer's media type, body, and Content-Disposition where it has one.
CachedResponse = tuple[str, bytes, str | None]
Answers = Cache[tuple[str, bytes], CachedResponse]


def init_response_cache(app: Flask) -> None:
    """Give `app` its memory for answers, or none."""
    budget = app.config["ANSWER_CACHE_MB"] * 1024 * 1024
    app.extensions[_EXTENSION] = Cache("answers", budget, _size) if budget else None


def _size(kept: CachedResponse) -> int:
    return len(kept[1]) + _OVERHEAD


def cached(view: Callable[..., Response], kinds: Sequence[str] = ()) -> Callable[..., Response]:
    """`view`, not called where the answer to the same body and content type is kept.

    A view that answers with several `kinds` is asked for each by itself, and its answers say so.
    """

    @wraps(view)
    def call(*args: Any, **named: Any) -> Response:
        answers: Answers | None = current_app.extensions[_EXTENSION]
        environ = request.environ
        if answers is None or "HTTP_CONTENT_ENCODING" in environ:
            return view(*args, **named)

        note("cached", True)

        def make() -> CachedResponse:
            note("cached", False)
            response = view(*args, **named)
            disposition = response.headers.get(_DISPOSITION)
            return response.mimetype or "", response.get_data(), disposition

        kind, body, disposition = answers.get(_key(environ, kinds), make)
        response = Response(body, mimetype=kind)
        if disposition is not None:
            response.headers[_DISPOSITION] = disposition
        if kinds:
            response.headers["Vary"] = "Accept"
        return response

    return call


def _key(environ: Mapping[str, Any], kinds: Sequence[str]) -> tuple[str, bytes]:
    """The call, and a digest of what it answers with, its content type and body."""
    digest = sha256(environ.get("CONTENT_TYPE", "").encode())
    if kinds:
        digest.update(b"\0" + negotiate(kinds).encode())
    digest.update(b"\0")
    digest.update(bodies.body_bytes())
    return environ["PATH_INFO"], digest.digest()
