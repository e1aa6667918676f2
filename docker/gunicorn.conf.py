"""Gunicorn in the container: the package's own settings, listening on every interface.

    gunicorn --config docker/gunicorn.conf.py

Read as `shortway serve` reads the environment; without SHORTWAY_HOST every interface is meant.
"""

import os

from shortway.gunicorn_settings import settings
from shortway.settings import read

globals().update(settings(read({"SHORTWAY_HOST": "0.0.0.0", **os.environ})))
