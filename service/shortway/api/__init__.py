"""The HTTP service: a thin shell that turns requests into use cases and results into responses.

Nothing musical is here. Every WSGI server starts at `create_app`.
"""

from shortway.api.app import create_app

__all__ = ["create_app"]
