"""Gunicorn's logger (its setting `logger_class`), which writes the service's log.

Knows gunicorn's logger and the service's log. No line quotes a request.
"""

from typing import Any, Final

from gunicorn import glogging

from shortway.api.telemetry import logs

#: How gunicorn's log lines begin that quote a request.
_QUOTES: Final = "Invalid request from ip="
_FAULT: Final = "Error handling request"
#: How the line of a client begins that sends or reads too slowly, or is gone.
_SOCKET: Final = "Socket error"


class Logger(glogging.Logger):  # type: ignore[misc]
    """Gunicorn's logger, whose lines have the form of the service's own."""

    def setup(self, cfg: Any) -> None:
        """Configure the service's log."""
        super().setup(cfg)
        logs.configure_logging(cfg.loglevel)
        self.error_log.propagate = True

    def warning(self, msg: str, *args: Any, **named: Any) -> None:
        """Log a warning; of one that quotes a request, that there was one."""
        if msg.startswith(_QUOTES):
            self.info("a request that is not valid HTTP is rejected")
        else:
            super().warning(msg, *args, **named)

    def exception(self, msg: str, *args: Any, **named: Any) -> None:
        """Log an exception without the URL, which has the query; a client's fault at debug."""
        if msg.startswith(_SOCKET):
            self.debug(msg, *args, exc_info=True)
            return
        if msg.startswith(_FAULT):
            msg, args = _FAULT, ()
        super().exception(msg, *args, **named)
