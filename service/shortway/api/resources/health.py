"""Health, and the document of the service itself."""

from __future__ import annotations

from functools import cache
from typing import Final

from flask import Response, current_app

from shortway.api.http import shutdown_flag as draining
from shortway.api.http.problems import RequestError
from shortway.api.http.responses import json_response, with_etag, with_no_store
from shortway.api.openapi import openapi_document as document
from shortway.api.resource import Resource
from shortway.core.solver import solve
from shortway.wire.schemas.health import DocumentSchema, HealthSchema

#: By then another service has taken this one's place, or will not.
_LATER: Final = {"Retry-After": "5"}

_CHART: Final = (
    "| Dm7 G7 | Cmaj7 A7 | Fm7 Bb7 | Ebmaj7 C7 | Bm7b5 E7b9 | Am7 D7 | F#m7 B7 | E6 C#7 "
    "| Abm7 Db7 | Gbmaj7 Eb7 | Ebm7 Ab7 | Db6 Bb7 | Gm7 F7 | Bbmaj7 F6 | Cm6 Bdim7 | C |"
)

calls = Resource("service", "Liveness, readiness, and this document")


@calls.get("/healthz", "getHealth", HealthSchema)
def get_health() -> Response:
    """Say whether the service lives

    For whoever restarts it when it does not.
    """
    return with_no_store(json_response({"status": "ok"}))


@calls.get("/readyz", "getReadiness", HealthSchema)
def get_readiness() -> Response:
    """Say whether the service is ready

    Ready once it has found a path of its own, and no more (503) once it is about to stop; for
    whoever sends it requests.
    """
    if draining.is_shutting_down():
        raise RequestError("unavailable", "this service is about to stop", headers=_LATER)
    _warm_up()
    return with_no_store(json_response({"status": "ready"}))


@calls.get("/openapi.json", "getDocument", DocumentSchema)
def get_document() -> Response:
    """Send this document

    All calls, fields and problems as an OpenAPI 3.1 document.
    """
    return with_etag(Response(document.document_bytes(current_app), mimetype="application/json"))


@cache
def _warm_up() -> None:
    """Find a path once that goes through many keys, which fills the core's tables."""
    solve.solve(_CHART)
