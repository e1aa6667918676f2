"""Declaring a call: its URL, the schema of its request and response, and its documentation.

Knows flask-smorest, which is untyped, so that views need not. A view is a plain function: it takes
the validated request, calls one use case and returns a response.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from flask import Response, request
from flask_smorest import Blueprint  # type: ignore[import-untyped]

from shortway.api.http.request_body import JSON, RequestParser, reject_query
from shortway.api.http.responses import negotiate
from shortway.api.middleware.response_cache import cached
from shortway.wire.fields import RequestSchema, ResponseSchema

View = TypeVar("View", bound=Callable[..., Response])


class Resource:
    """The calls of one noun, under one tag of the OpenAPI document.

    In each declaration, `rule` is the URL, `name` the operationId, `kinds` the media types of the
    response (the default first).
    """

    def __init__(self, noun: str, about: str) -> None:
        self.blueprint = Blueprint(noun, __name__, description=about)
        self.blueprint.ARGUMENTS_PARSER = RequestParser()
        self._with_query: set[str] = set()
        self._kinds: dict[str, Sequence[str]] = {}
        self.blueprint.before_request(self._check)

    def get(
        self,
        rule: str,
        name: str,
        response: type[ResponseSchema],
        *,
        query: type[RequestSchema] | None = None,
    ) -> Callable[[View], View]:
        """A GET call."""
        if query is not None:
            self._with_query.add(name)
        return self._declare(rule, name, "GET", response, query, location="query")

    def post(
        self,
        rule: str,
        name: str,
        response: type[ResponseSchema],
        *,
        body: type[RequestSchema] | None = None,
    ) -> Callable[[View], View]:
        """A POST call with a cached JSON response; without `body`, the view reads the body."""
        return self._declare(rule, name, "POST", response, body, cache=cached)

    def file(
        self, rule: str, name: str, kinds: Sequence[str], *, body: type[RequestSchema]
    ) -> Callable[[View], View]:
        """A POST call with a cached response of any of `kinds`."""
        self._kinds[name] = kinds
        return self._declare(rule, name, "POST", None, body, cache=lambda view: cached(view, kinds))

    def stream(self, rule: str, name: str, kinds: Sequence[str]) -> Callable[[View], View]:
        """A POST call that reads and returns a stream of any of `kinds`; nothing is cached."""
        self._kinds[name] = kinds
        return self._declare(rule, name, "POST", None, None)

    def _declare(
        self,
        rule: str,
        name: str,
        method: str,
        response: type[ResponseSchema] | None,
        request_schema: type[RequestSchema] | None,
        *,
        location: str = "json",
        cache: Callable[[Any], Any] = lambda view: view,
    ) -> Callable[[View], View]:
        blueprint = self.blueprint

        def declare(view: View) -> View:
            call: Any = blueprint.response(200, response, description="The response.")(view)
            if request_schema is not None:
                # an instance: of a class, webargs would copy the fields for each request
                call = blueprint.arguments(request_schema(), location=location)(call)
            call = cache(blueprint.doc(operationId=name)(call))
            blueprint.add_url_rule(rule, name, call, methods=[method])
            return view

        return declare

    def _check(self) -> None:
        """Before every view: reject an Accept header or a query that the call does not support."""
        name = (request.endpoint or "").rpartition(".")[2]
        negotiate(self._kinds.get(name, (JSON,)))
        if name not in self._with_query:
            reject_query()
