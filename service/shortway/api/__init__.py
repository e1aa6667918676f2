"""The HTTP service: a thin shell that turns requests into core calls and values into answers.

Nothing musical lives here. `create_app` is the door for every server.
"""

from shortway.api.app import create_app

__all__ = ["create_app"]
