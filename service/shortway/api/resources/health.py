"""Health checks, and the OpenAPI document."""

from flask import Response

from shortway.api.http.responses import json_response, with_etag, with_no_store
from shortway.api.openapi.openapi_document import released_document
from shortway.api.resource import Resource
from shortway.core.shortest_path.points import implementation
from shortway.wire.schemas.problems import HealthSchema, OpenApiDocumentSchema, ReadinessSchema

calls = Resource("service", "Health checks, and this document")


@calls.get("/healthz", "getHealth", HealthSchema)
def get_health() -> Response:
    """Check liveness

    The health check of an orchestrator, which restarts a service that does not respond.
    """
    return with_no_store(json_response({"status": "ok"}))


@calls.get("/readyz", "getReadiness", ReadinessSchema)
def get_readiness() -> Response:
    """Check readiness

    The health check of a load balancer. Nobody answers before a first path is solved, or once the
    service is shutting down.
    """
    return with_no_store(json_response({"status": "ready", "search": implementation()}))


@calls.get("/openapi.json", "getDocument", OpenApiDocumentSchema)
def get_document() -> Response:
    """Get this document

    All calls, fields and problems as an OpenAPI 3.1 document.
    """
    return with_etag(Response(released_document(), mimetype="application/json"))
