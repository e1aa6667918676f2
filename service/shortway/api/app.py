"""The Flask application: middleware, calls and error handlers are registered here.

Knows every resource and no noun's business.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from typing import Any, Final

from flask import Flask, Response
from flask_smorest import Api  # type: ignore[import-untyped]
from werkzeug.exceptions import HTTPException

from shortway.api.http import manual, pages, problems, responses
from shortway.api.middleware.admission_control import init_admission_control
from shortway.api.middleware.authentication import init_authentication
from shortway.api.middleware.body_reader import init_body_reader
from shortway.api.middleware.cors import init_cors
from shortway.api.middleware.deadline import init_deadline
from shortway.api.middleware.rate_limit import init_rate_limit
from shortway.api.middleware.response_cache import init_response_cache
from shortway.api.openapi.components import add_components, spec_options
from shortway.api.openapi.openapi_document import released_document
from shortway.api.resources import ALL
from shortway.api.telemetry import logs, metrics, tracing
from shortway.api.telemetry.request_instrumentation import Observer, instrument
from shortway.api.warm_up import warm_up
from shortway.config import flask_config, load_config
from shortway.core.errors import ShortwayError
from shortway.wire.schemas.problems import ProblemSchema

DEFAULTS: Final[Mapping[str, Any]] = {
    "API_TITLE": "Shortway",
    "API_VERSION": responses.API_VERSION,
    "OPENAPI_VERSION": "3.1.0",
}


class ShortwayApp(Flask):
    """Flask's application without a look at each function whether it is a coroutine."""

    def ensure_sync(self, func: Callable[..., Any]) -> Callable[..., Any]:
        """`func`: none here is one."""
        return func


class ShortwayApi(Api):  # type: ignore[misc]
    """flask-smorest's API; every HTTP error is one of our problems."""

    ERROR_SCHEMA = ProblemSchema
    DEFAULT_ERROR_RESPONSE_NAME = "Problem"

    def _register_responses(self) -> None:
        """Add our own components in place of a response for each status."""
        add_components(self.spec)

    def _register_etag_headers(self) -> None:
        """Add none: `openapi_document` has the headers."""

    def _register_pagination_header(self) -> None:
        """Add none: `limit` and `offset` are in the body."""

    def handle_http_exception(self, error: HTTPException) -> Response:
        """The problem of an HTTP error that the framework raises."""
        return problems.handle_http_error(error)


def create_app(config: Mapping[str, Any] | None = None) -> Flask:
    """The service as a WSGI application, its caches filled by first paths.

    `config`: Flask's settings, such as ``MAX_CONTENT_LENGTH`` in bytes. They override `DEFAULTS`
    and the environment's, which have their names without the prefix.

    Raises ConfigurationError if a variable of the environment, or the file that one names, cannot
    be read.
    """
    app = ShortwayApp("shortway.api", static_folder=None)
    chosen = {**DEFAULTS, **flask_config(load_config(os.environ)), **(config or {})}
    app.config.update({"MAX_CONTENT_LENGTH": chosen["MAX_BODY_KB"] * 1024} | chosen)
    app.url_map.merge_slashes = False
    _init_middleware(app)
    api = ShortwayApi(app, spec_kwargs=spec_options())
    for resource in ALL:
        api.register_blueprint(resource.blueprint)
    pages.register_pages(app)
    manual.register_manual(app, released_document)
    app.register_error_handler(ShortwayError, problems.handle_core_error)
    app.register_error_handler(problems.RequestError, problems.handle_request_error)
    app.register_error_handler(Exception, problems.handle_unexpected_error)
    warm_up()
    return app


def _init_middleware(app: Flask) -> None:
    """Register the middleware: what wraps the application inside out, the rest in its order."""
    init_deadline(app)
    init_admission_control(app)
    init_response_cache(app)
    init_body_reader(app)
    instrument(
        app, [metrics.init_metrics(app), *tracing.trace_observers(app), Observer(logs.log_request)]
    )
    app.before_request(responses.check_request)
    init_cors(app)
    app.before_request(responses.answer_options)
    init_authentication(app)
    init_rate_limit(app)
