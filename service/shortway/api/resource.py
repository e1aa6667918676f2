"""Declaring a call: its address, what it takes, what it gives and what the document says.

Knows flask-smorest, which is untyped, so that the views need not. A view stays a plain function:
it takes the request apart, makes one core call and puts the answer together.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from flask import Response, request
from flask_smorest import Blueprint  # type: ignore[import-untyped]

from shortway.api.bodies import Parser, refuse_query
from shortway.api.fields import Answer, Request

View = TypeVar("View", bound=Callable[..., Response])


class Resource:
    """The calls of one noun, under one tag of the document."""

    def __init__(self, noun: str, about: str) -> None:
        self.blueprint = Blueprint(noun, __name__, description=about)
        self.blueprint.ARGUMENTS_PARSER = Parser()
        self._with_query: set[str] = set()
        self.blueprint.before_request(self._check_query)

    def get(
        self, rule: str, name: str, gives: type[Answer], *, query: type[Request] | None = None
    ) -> Callable[[View], View]:
        """A GET call whose operationId is `name`."""
        if query is not None:
            self._with_query.add(name)
        return self._call(rule, name, "GET", gives, query, "query")

    def post(
        self, rule: str, name: str, gives: type[Answer], *, takes: type[Request] | None = None
    ) -> Callable[[View], View]:
        """A POST call whose operationId is `name`."""
        return self._call(rule, name, "POST", gives, takes, "json")

    def _call(
        self,
        rule: str,
        name: str,
        method: str,
        gives: type[Answer],
        takes: type[Request] | None,
        location: str,
    ) -> Callable[[View], View]:
        blueprint = self.blueprint

        def declared(view: View) -> View:
            documented: Any = blueprint.response(200, gives, description="The answer.")(view)
            if takes is not None:
                documented = blueprint.arguments(takes, location=location)(documented)
            documented = blueprint.doc(operationId=name)(documented)
            blueprint.add_url_rule(rule, name, documented, methods=[method])
            return view

        return declared

    def _check_query(self) -> None:
        endpoint = (request.endpoint or "").rpartition(".")[2]
        if endpoint not in self._with_query:
            refuse_query()
