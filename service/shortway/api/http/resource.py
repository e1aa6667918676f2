"""Declaring a call: its address, what it takes, what it gives and what the document says.

Knows flask-smorest, which is untyped, so that the views need not. A view stays a plain function:
it takes the request apart, makes one core call and puts the answer together.
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

_JSON_ALONE = (JSON,)
View = TypeVar("View", bound=Callable[..., Response])


class Resource:
    """The calls of one noun, under one tag of the document."""

    def __init__(self, noun: str, about: str) -> None:
        self.blueprint = Blueprint(noun, __name__, description=about)
        self.blueprint.ARGUMENTS_PARSER = RequestParser()
        self._with_query: set[str] = set()
        self._answers_with: dict[str, Sequence[str]] = {}
        self.blueprint.before_request(self._check)

    def get(
        self,
        rule: str,
        name: str,
        gives: type[ResponseSchema],
        *,
        query: type[RequestSchema] | None = None,
    ) -> Callable[[View], View]:
        """A GET call whose operationId is `name`."""
        if query is not None:
            self._with_query.add(name)
        return self._call(rule, name, "GET", gives, query, "query")

    def post(
        self,
        rule: str,
        name: str,
        gives: type[ResponseSchema],
        *,
        takes: type[RequestSchema] | None = None,
    ) -> Callable[[View], View]:
        """A POST call whose operationId is `name`; its answers are remembered."""
        return self._call(rule, name, "POST", gives, takes, "json")

    def document(
        self, rule: str, name: str, kinds: Sequence[str], *, takes: type[RequestSchema]
    ) -> Callable[[View], View]:
        """A POST call of JSON that answers with any of `kinds`; its answers are remembered."""

        def declared(view: View) -> View:
            self._answers_with[name] = kinds
            documented: Any = self.blueprint.response(200, description="The answer.")(view)
            documented = self.blueprint.arguments(takes(), location="json")(documented)
            documented = self.blueprint.doc(operationId=name)(documented)
            documented = cached(documented, kinds)
            self.blueprint.add_url_rule(rule, name, documented, methods=["POST"])
            return view

        return declared

    def stream(self, rule: str, name: str, kinds: Sequence[str]) -> Callable[[View], View]:
        """A POST call that takes and gives any of `kinds` as a stream; nothing is remembered."""

        def declared(view: View) -> View:
            self._answers_with[name] = kinds
            documented: Any = self.blueprint.response(200, description="The answers.")(view)
            documented = self.blueprint.doc(operationId=name)(documented)
            self.blueprint.add_url_rule(rule, name, documented, methods=["POST"])
            return view

        return declared

    def _call(
        self,
        rule: str,
        name: str,
        method: str,
        gives: type[ResponseSchema],
        takes: type[RequestSchema] | None,
        location: str,
    ) -> Callable[[View], View]:
        blueprint = self.blueprint

        def declared(view: View) -> View:
            documented: Any = blueprint.response(200, gives, description="The answer.")(view)
            if takes is not None:
                # an instance: of a class, webargs would copy the fields for each request
                documented = blueprint.arguments(takes(), location=location)(documented)
            documented = blueprint.doc(operationId=name)(documented)
            documented = cached(documented) if method == "POST" else documented
            blueprint.add_url_rule(rule, name, documented, methods=[method])
            return view

        return declared

    def _check(self) -> None:
        """Before every view: what is accepted, and a query where there is none."""
        name = (request.endpoint or "").rpartition(".")[2]
        negotiate(self._answers_with.get(name, _JSON_ALONE))
        if name not in self._with_query:
            reject_query()
