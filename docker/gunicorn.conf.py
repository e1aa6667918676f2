"""Gunicorn in the container: the package's own settings, listening on every interface.

    gunicorn --config docker/gunicorn.conf.py

Read as `shortway serve` reads the environment; without SHORTWAY_HOST every interface is meant, so
that it wants SHORTWAY_TOKENS_FILE or SHORTWAY_OPEN=1.
"""

import os
import sys

from shortway.config import ConfigurationError, load_config
from shortway.serving.gunicorn_settings import gunicorn_options

try:
    globals().update(gunicorn_options(load_config({"SHORTWAY_HOST": "0.0.0.0", **os.environ})))
except ConfigurationError as error:
    sys.exit(f"Error: {error}")
