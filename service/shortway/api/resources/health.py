"""Health checks, and the OpenAPI document."""

from __future__ import annotations

from functools import cache
from typing import Final

from flask import Response, current_app

from shortway.api.http.problems import RequestError
from shortway.api.http.responses import json_response, with_etag, with_no_store
from shortway.api.http.shutdown_flag import is_shutting_down
from shortway.api.openapi.openapi_document import document_bytes
from shortway.api.resource import Resource
from shortway.core.solver import solve
from shortway.wire.schemas.problems import HealthSchema, OpenApiDocumentSchema

#: By then another instance has replaced this one.
_LATER: Final = {"Retry-After": "5"}

_CHART: Final = (
    "| Dm7 G7 | Cmaj7 A7 | Fm7 Bb7 | Ebmaj7 C7 | Bm7b5 E7b9 | Am7 D7 | F#m7 B7 | E6 C#7 "
    "| Abm7 Db7 | Gbmaj7 Eb7 | Ebm7 Ab7 | Db6 Bb7 | Gm7 F7 | Bbmaj7 F6 | Cm6 Bdim7 | C |"
)

calls = Resource("service", "Health checks, and this document")


@calls.get("/healthz", "getHealth", HealthSchema)
def get_health() -> Response:
    """Check liveness

    The health check of an orchestrator, which restarts a service that does not respond.
    """
    return with_no_store(json_response({"status": "ok"}))


@calls.get("/readyz", "getReadiness", HealthSchema)
def get_readiness() -> Response:
    """Check readiness

    The health check of a load balancer. Ready once a first path is solved, and no longer (503)
    once the service is shutting down.
    """
    _check_running()
    _warm_up()
    return with_no_store(json_response({"status": "ready"}))


@calls.get("/openapi.json", "getDocument", OpenApiDocumentSchema)
def get_document() -> Response:
    """Get this document

    All calls, fields and problems as an OpenAPI 3.1 document.
    """
    return with_etag(Response(document_bytes(current_app), mimetype="application/json"))


def _check_running() -> None:
    if is_shutting_down():
        raise RequestError("unavailable", "the service is shutting down", headers=_LATER)


@cache
def _warm_up() -> None:
    """Solve a path through many keys once, which fills the caches."""
    solve.solve(_CHART)
