"""Who asks: a bearer token (RFC 6750) with every call but those that are open to anybody.

Knows HTTP and the file of tokens, no noun. Without a file anybody may ask. What is open is a list,
so that an address that comes later needs a token until somebody says otherwise.
"""

from __future__ import annotations

import re
from typing import Any, Final

from flask import Flask, Response, current_app, request

from shortway.api.http.pages import MANUAL, PAGES
from shortway.api.http.problems import RequestError
from shortway.api.middleware.token_store import TokenStore

#: Addresses that need no token: what keeps the service running, what tells of it, the pages.
PUBLIC: Final = frozenset({"/healthz", "/readyz", "/openapi.json", "/docs", *PAGES})
_OPEN_BELOW: Final = ("/page/", MANUAL)
_EXTENSION: Final = "shortway-tokens"
#: Where a request's environment has the name of who asks, once that is known.
ASKER: Final = "shortway.asker"
#: Set in the environment of requests that the service asks itself, to make its document.
INSIDE: Final = "shortway.inside"
_BEARER: Final = re.compile(r"(?i:bearer) ([A-Za-z0-9._~+/-]+=*)")
_CHALLENGE: Final = 'Bearer realm="shortway"'


def init_authentication(app: Flask) -> None:
    """Have `app` ask for tokens, if it has a file of them.

    Raises
    ------
    TokenFileError
        If the file cannot be read.
    """
    path = app.config["TOKENS_FILE"]
    if not path:
        return
    app.extensions[_EXTENSION] = TokenStore(path)
    app.before_request(_check)
    app.after_request(_kept_by_the_asker_alone)


def _check() -> None:
    """Note who asks; refuse who has no token."""
    environ = request.environ
    if INSIDE in environ or is_public(environ["PATH_INFO"]):
        return
    environ[ASKER] = _owner(environ)


def is_public(path: str) -> bool:
    """Whether anybody may ask for `path`."""
    return path in PUBLIC or path.startswith(_OPEN_BELOW)


def _owner(environ: dict[str, Any]) -> str:
    given = environ.get("HTTP_AUTHORIZATION")
    if given is None:
        raise _refused("this service asks for a token: send Authorization: Bearer and the token")
    bearer = _BEARER.fullmatch(given)
    ring: TokenStore = current_app.extensions[_EXTENSION]
    owner = ring.owner(bearer[1]) if bearer else None
    if owner is not None:
        return owner
    if bearer or given[:7].lower() == "bearer ":
        raise _refused("the token is not one that is known here", ', error="invalid_token"')
    raise _refused("the Authorization header is not: Bearer, one blank, a token")


def _refused(detail: str, more: str = "") -> RequestError:
    return RequestError("unauthorized", detail, headers={"WWW-Authenticate": _CHALLENGE + more})


def _kept_by_the_asker_alone(response: Response) -> Response:
    """No shared cache hands an answer on to who has no token (RFC 9111, 3.5)."""
    if ASKER in request.environ and response.cache_control.public:
        response.cache_control.public = False
        response.cache_control.private = True
    return response
