"""Runs the HTTP service under gunicorn, in this process.

Knows gunicorn and, by name, the application.
"""

from __future__ import annotations

from typing import Any

from gunicorn import util
from gunicorn.app.base import BaseApplication

from shortway.config import ServiceConfig
from shortway.serving.gunicorn_settings import gunicorn_options


class Server(BaseApplication):  # type: ignore[misc]
    """Gunicorn with the package's settings; it reads no file and no arguments."""

    def __init__(self, values: dict[str, Any]) -> None:
        self.values = values
        super().__init__(prog="shortway serve")

    def load_config(self) -> None:
        """Apply every setting that this gunicorn knows."""
        for name, value in self.values.items():
            if name in self.cfg.settings:
                self.cfg.set(name, value)

    def load(self) -> Any:
        """The WSGI application."""
        return util.import_app(self.cfg.wsgi_app)


def run_server(of: ServiceConfig) -> None:
    """Serve until stopped. Raises SystemExit when gunicorn ends."""
    Server(gunicorn_options(of)).run()
