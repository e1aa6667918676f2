"""Authentication: a bearer token (RFC 6750) is required, except by public URLs.

Knows HTTP and the token file, no noun. Without a token file no token is required. Public URLs are
an allow list, so that a new URL requires a token by default.
"""

import re
from collections.abc import Mapping
from typing import Any, Final

from flask import Flask, Response, current_app, request

from shortway.api.http.pages import MANUAL, PAGES
from shortway.api.http.problems import RequestError
from shortway.api.middleware.token_store import TokenStore
from shortway.request_trace import current_request, update_request

#: URLs that require no token: health checks, the OpenAPI document, the pages.
PUBLIC: Final = frozenset({"/healthz", "/readyz", "/openapi.json", "/docs", *PAGES})
_PUBLIC_BELOW: Final = ("/page/", MANUAL)
_EXTENSION: Final = "shortway-tokens"
_BEARER: Final = re.compile(r"(?i:bearer) ([A-Za-z0-9._~+/-]+=*)")
_CHALLENGE: Final = 'Bearer realm="shortway"'


def init_authentication(app: Flask) -> None:
    """Require a token, if `app` is configured with a token file.

    Raises TokenFileError if the file cannot be read.
    """
    path = app.config["TOKENS_FILE"]
    if not path:
        return
    app.extensions[_EXTENSION] = TokenStore(path)
    app.before_request(_check)
    app.after_request(_restrict_to_private_caches)


def _check() -> None:
    """Note the token's owner; reject a request without a valid token."""
    state = current_request()
    if (state is not None and state.is_internal) or is_public(request.environ["PATH_INFO"]):
        return
    update_request(client=_owner(request.environ.get("HTTP_AUTHORIZATION")))


def is_authenticated(app: Flask, environ: Mapping[str, Any]) -> bool:
    """Whether a request that `app` does not see may be answered; notes the token's owner."""
    state = current_request()
    if _EXTENSION not in app.extensions or (state is not None and state.is_internal):
        return True
    owner = token_owner(app, environ.get("HTTP_AUTHORIZATION"))
    update_request(client=owner)
    return owner is not None


def token_owner(app: Flask, given: str | None) -> str | None:
    """The owner of the token in an Authorization header, if it is a valid one."""
    store: TokenStore | None = app.extensions.get(_EXTENSION)
    bearer = _BEARER.fullmatch(given or "")
    return store.owner(bearer[1]) if store is not None and bearer else None


def is_public(path: str) -> bool:
    """Whether `path` requires no token."""
    return path in PUBLIC or path.startswith(_PUBLIC_BELOW)


def _owner(given: str | None) -> str:
    if given is None:
        raise _unauthorized("a token is required: send Authorization: Bearer and the token")
    owner = token_owner(current_app, given)
    if owner is not None:
        return owner
    if given[:7].lower() == "bearer ":
        raise _unauthorized("the token is unknown", ', error="invalid_token"')
    raise _unauthorized("the Authorization header is not: Bearer, one space, a token")


def _unauthorized(detail: str, more: str = "") -> RequestError:
    return RequestError("unauthorized", detail, headers={"WWW-Authenticate": _CHALLENGE + more})


def _restrict_to_private_caches(response: Response) -> Response:
    """Keep shared caches from serving a response to clients without a token (RFC 9111, 3.5)."""
    state = current_request()
    if state is not None and state.client is not None and response.cache_control.public:
        response.cache_control.public = False
        response.cache_control.private = True
    return response
