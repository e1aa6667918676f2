"""Gunicorn in the container: the package's own settings, listening on every interface.

    gunicorn --config docker/gunicorn.conf.py

SHORTWAY_HOST, SHORTWAY_PORT and SHORTWAY_WORKERS are read as `shortway serve` reads them.
"""

import os

from shortway.gunicorn_settings import DEFAULT_PORT, settings

globals().update(
    settings(
        os.environ.get("SHORTWAY_HOST", "0.0.0.0"),
        int(os.environ.get("SHORTWAY_PORT", DEFAULT_PORT)),
        int(os.environ.get("SHORTWAY_WORKERS", 0)) or None,
    )
)
