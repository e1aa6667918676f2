"""Declaring a call: its URL, the schema of its request and response, and its documentation.

Knows flask-smorest, which is untyped, so that views need not. A view is a plain function: it takes
the validated request, calls one use case and returns a response.
"""

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from flask import Response, request
from flask_smorest import Blueprint  # type: ignore[import-untyped]

from shortway.api.http.chart_request import takes_chart
from shortway.api.http.deprecation import DEPRECATED
from shortway.api.http.request_body import JSON, reject_query, takes_request
from shortway.api.http.responses import negotiate
from shortway.wire.fields import RequestSchema, ResponseSchema

View = TypeVar("View", bound=Callable[..., Response])


class Resource:
    """The calls of one noun, under one tag of the OpenAPI document.

    In each declaration, `rule` is the URL, `name` the operationId, `kinds` the media types of the
    response (the default first).
    """

    def __init__(self, noun: str, about: str) -> None:
        self.blueprint = Blueprint(noun, __name__, description=about)
        self._with_query: set[str] = set()
        self._kinds: dict[str, Sequence[str]] = {}
        self.blueprint.before_request(self._check)
        self.blueprint.after_request(self._announce)

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
        takes: type[RequestSchema] | None = None,
        query: bool = False,
    ) -> Callable[[View], View]:
        """A POST call with a JSON response.

        `body` is the schema of a JSON body; `takes` that of a body which may be the chart itself,
        with options in the query. Without both the view reads the body, and with `query` the query.
        """
        if query:
            self._with_query.add(name)
        return self._declare(rule, name, "POST", response, body, takes=takes)

    def file(self, rule: str, name: str, *, takes: type[RequestSchema]) -> Callable[[View], View]:
        """A POST call whose view chooses the media type of its response."""
        self._kinds[name] = ()
        return self._declare(rule, name, "POST", None, None, takes=takes)

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
        takes: type[RequestSchema] | None = None,
    ) -> Callable[[View], View]:
        blueprint = self.blueprint
        if takes is not None:
            self._with_query.add(name)

        def declare(view: View) -> View:
            call: Any = view
            described = blueprint.response(200, response, description="The response.")(view)
            if takes is not None:
                call = takes_chart(takes)(view)
                content = {JSON: {"schema": takes}}
                described = blueprint.doc(requestBody={"content": content})(described)
            elif request_schema is not None:
                call = takes_request(request_schema(), location)(view)
                described = blueprint.arguments(request_schema, location=location)(described)
            # flask-smorest's decorators describe; what they wrap is called without them
            call._apidoc = blueprint.doc(operationId=name)(described)._apidoc
            blueprint.add_url_rule(rule, name, call, methods=[method])
            return view

        return declare

    def _check(self) -> None:
        """Before every view: reject an Accept header or a query that the call does not support."""
        name = (request.endpoint or "").rpartition(".")[2]
        if kinds := self._kinds.get(name, (JSON,)):
            negotiate(kinds)
        if name not in self._with_query:
            reject_query()

    def _announce(self, response: Response) -> Response:
        """After every view: say that a deprecated call is one."""
        name = (request.endpoint or "").rpartition(".")[2]
        if (found := DEPRECATED.get(name)) is not None:
            response.headers.update(found.headers())
        return response
