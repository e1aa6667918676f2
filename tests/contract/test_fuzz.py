"""Requests made from the document: whatever is sent, the answer is one that the document names."""

from __future__ import annotations

import gzip
from typing import Any

import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis import (
    Case,
    DeserializationContext,
    GenerationMode,
    Response,
    SerializationContext,
)
from schemathesis.checks import (
    content_type_conformance,
    not_a_server_error,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from schemathesis.config import SchemathesisConfig

from shortway.api import create_app
from shortway.api.resources.charts import KINDS


@schemathesis.serializer("application/jsonl", "application/x-ndjson", *KINDS)
def as_it_is(_: SerializationContext, value: Any) -> bytes:
    """A batch or sheet is a text already; what is none goes as the text that Python makes of it."""
    return value if isinstance(value, bytes) else str(value).encode("utf-8", "surrogatepass")


@schemathesis.deserializer("application/jsonl", "application/x-ndjson")
def as_text(_: DeserializationContext, response: Response) -> str:
    """The answer's lines, as one text; over WSGI nobody else unpacks them."""
    is_packed = response.headers.get("content-encoding") == ["gzip"]
    return (gzip.decompress(response.content) if is_packed else response.content).decode()


AS_DOCUMENTED = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]


def _schema(mode: GenerationMode) -> schemathesis.BaseSchema:
    config = SchemathesisConfig.from_dict({"generation": {"mode": mode.value}})
    return schemathesis.openapi.from_wsgi("/openapi.json", create_app(), config=config)


sensible = _schema(GenerationMode.POSITIVE)
senseless = _schema(GenerationMode.NEGATIVE)
few = settings(
    max_examples=15, deadline=None, suppress_health_check=list(HealthCheck), database=None,
    derandomize=True,
)  # fmt: skip


@sensible.parametrize()
@few
def test_requests_of_the_document_are_answered_as_it_says(case: Case) -> None:
    case.call_and_validate(checks=AS_DOCUMENTED)


@senseless.parametrize()
@few
def test_requests_beside_the_document_do_no_harm(case: Case) -> None:
    response = case.call()
    assert response.status_code < 500
    if response.status_code >= 400 and case.method != "HEAD":
        assert response.headers["content-type"] == ["application/problem+json"]


def test_no_call_is_left_out() -> None:
    """All but the document itself, which schemathesis leaves out."""
    assert len(list(sensible.get_all_operations())) == 13
