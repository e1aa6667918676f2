"""The Flask application: calls registered, errors answered, headers added.

Knows every resource and no noun's business.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import Any, Final

from flask import Flask, Response
from flask_smorest import Api  # type: ignore[import-untyped]
from werkzeug.exceptions import HTTPException

from shortway import config as settings
from shortway.api.http import pages, problems
from shortway.api.http import responses as answers
from shortway.api.http.problems import RequestError
from shortway.api.middleware import authentication as tokens
from shortway.api.middleware import cors as cross_origin
from shortway.api.middleware import deadline, places
from shortway.api.middleware import rate_limit as rates
from shortway.api.middleware import response_cache as memory
from shortway.api.openapi import openapi_document as document
from shortway.api.resources import ALL
from shortway.api.telemetry import logs, metrics, tracing
from shortway.api.telemetry import request_instrumentation as watching
from shortway.core.errors import ShortwayError
from shortway.wire.schemas.problems import ProblemSchema

DEFAULTS: Final[Mapping[str, Any]] = {
    "API_TITLE": "Shortway",
    "API_VERSION": answers.API_VERSION,
    "OPENAPI_VERSION": "3.1.0",
}


class ShortwayApi(Api):  # type: ignore[misc]
    """flask-smorest's API with our own problems for every HTTP error."""

    ERROR_SCHEMA = ProblemSchema
    DEFAULT_ERROR_RESPONSE_NAME = "Problem"

    def _register_responses(self) -> None:
        """The document's own responses stand in the place of one for each status."""
        document.add_components(self.spec)

    def _register_etag_headers(self) -> None:
        """None of flask-smorest's own: `document` has ours."""

    def _register_pagination_header(self) -> None:
        """None: pages are asked for in the body."""

    def handle_http_exception(self, error: HTTPException) -> Response:
        """The problem of an HTTP error; the one place where the framework's become ours."""
        return problems.handle_http_error(error)


def create_app(config: Mapping[str, Any] | None = None) -> Flask:
    """The service as a WSGI application.

    Parameters
    ----------
    config : mapping, optional
        Flask's settings over `DEFAULTS`, such as ``MAX_CONTENT_LENGTH`` in bytes, and over those
        of the environment, which stand there by their names without the prefix.

    Raises
    ------
    ConfigurationError
        If a variable of the environment, or the file that one names, cannot be read.
    """
    app = Flask("shortway.api", static_folder=None)
    given = settings.load_config(os.environ)
    chosen = {**DEFAULTS, **settings.flask_config(given), **(config or {})}
    app.config.update({"MAX_CONTENT_LENGTH": chosen["MAX_BODY_KB"] * 1024} | chosen)
    memory.init_response_cache(app)
    app.url_map.merge_slashes = False
    watching.instrument(
        app, [metrics.init_metrics(app), *tracing.trace_observers(app), logs.log_observer()]
    )
    app.before_request(answers.check_request)
    app.after_request(answers.add_standard_headers)
    cross_origin.init_cors(app)
    tokens.init_authentication(app)
    rates.init_rate_limit(app)
    places.init_places(app)
    deadline.init_deadline(app)
    api = ShortwayApi(app, spec_kwargs=document.spec_options())
    for calls in ALL:
        api.register_blueprint(calls.blueprint)
    pages.register_pages(app)
    app.register_error_handler(ShortwayError, problems.handle_core_error)
    app.register_error_handler(RequestError, problems.handle_request_error)
    app.register_error_handler(Exception, problems.handle_unexpected_error)
    return app
