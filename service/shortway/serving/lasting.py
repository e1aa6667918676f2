"""How a gunicorn worker ends, and how it frees its threads: no request is lost, none blocks it.

Knows gunicorn's threaded worker, whose internals it extends, and the shutdown flag.

A worker that has handled `max_requests` *retires*: the arbiter starts another at once; this one
accepts no connections, sends ``Connection: close`` in its next response on each that it has, and
ends when the last is closed. A worker that is replaced by SIGHUP does the same. One that stops with
the whole service accepts the connections that are pending at its port, then closes it.

The main thread closes connections whose clients read their response too slowly (slow requests are
`gathering`'s). Where every thread is still blocked long after the deadline, the process ends and
another replaces it.

`handle`, `handle_probe` and `handle_request` run on threads, all else on the worker's main thread.
"""

from __future__ import annotations

import os
import socket
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final

from gunicorn.workers.gthread import TConn

from shortway.api.http.shutdown_flag import is_shutting_down
from shortway.serving import gunicorn_hooks
from shortway.serving.admission import PROBES, AdmittingWorker, is_readable
from shortway.serving.gathering import STREAMED

#: Seconds beyond the deadline in which a client has to read its response.
TRANSFER: Final = 30.0
#: Seconds for a health check and the reading of its response: others wait for its thread.
PROBED: Final = 5.0
#: Seconds beyond these after which a thread counts as blocked.
LOST: Final = 15.0
#: Seconds for which a retired worker continues a batch.
RETIRED: Final = 3600.0
#: Calls without a time limit; they have an idle timeout.
_ENDLESS: Final = tuple(path.decode() for path in STREAMED)
#: Pending connections that are accepted at shutdown, at most.
_LAST: Final = 1024


@dataclass(slots=True)
class _Held:
    """What a thread handles: since when, its time limit, whether the connection was closed."""

    since: float
    limit: float | None
    is_cut: bool = False


class LastingWorker(AdmittingWorker):
    """The admitting worker that loses no request when it ends.

    Attributes
    ----------
    deadline : float
        Timeout in seconds of the work on a request.
    """

    deadline = 30.0

    def __init__(self, *args: Any, **named: Any) -> None:
        super().__init__(*args, **named)
        self._most = getattr(self, "max_requests", sys.maxsize)
        self.max_requests = sys.maxsize
        self._retired_at: float | None = None
        self._held: dict[TConn, _Held] = {}

    # --- ending ----------------------------------------------------------------------------------

    def handle_exit(self, number: int, frame: Any) -> None:
        """Handle SIGTERM: of the whole service, or of this worker, which is replaced."""
        if is_shutting_down():
            super().handle_exit(number, frame)
        else:
            self._retired_at = self._retired_at or time.monotonic()

    def handle_request(self, req: Any, conn: TConn) -> Any:
        """Handle a request; a retiring worker, and a health check, close the connection.

        A client that sends many health checks and reads no response would block all others.
        """
        if req.path in _ENDLESS and conn in self._held:
            self._held[conn].limit = None
        if self.nr + 1 >= self._most and self._retired_at is None:
            self._retired_at = time.monotonic()
            gunicorn_hooks.request_replacement(self)
        if self._retired_at is not None or is_shutting_down() or req.path in PROBES:
            req.force_close()
        return super().handle_request(req, conn)

    def set_accept_enabled(self, enabled: bool) -> None:
        """At shutdown, accept what is pending, and close the port at once."""
        super().set_accept_enabled(enabled)
        if self.alive or not is_shutting_down():
            return
        for listener in self.sockets:
            for _ in range(_LAST):
                if listener.fileno() < 0 or not is_readable(listener):
                    break
                self.accept(listener)
            listener.close()

    # --- time limits ----------------------------------------------------------------------------

    def notify(self) -> None:
        """Called at least once a second: check the threads, then report to the arbiter."""
        now = time.monotonic()
        self._cut_off(now)
        if self._retired_at is not None:
            self.worker_connections = 0  # the main loop then accepts nothing
            if not self.nr_conns or now - self._retired_at > RETIRED:
                self.alive = False
        gunicorn_hooks.refresh_metrics(self)
        super().notify()

    def handle(self, conn: TConn) -> Any:
        """Handle a connection, within its time limit."""
        with self._watched(conn, self.deadline + TRANSFER):
            return super().handle(conn)

    def handle_probe(self, conn: TConn) -> Any:
        """Handle a health check, within its time limit."""
        with self._watched(conn, PROBED):
            return super().handle_probe(conn)

    @contextmanager
    def _watched(self, conn: TConn, limit: float) -> Iterator[None]:
        self._held[conn] = _Held(time.monotonic(), limit)
        try:
            yield
        finally:
            del self._held[conn]

    def _cut_off(self, now: float) -> None:
        """Close the connections of slow clients; end the process where that frees no thread."""
        lost = 0
        for conn, held in list(self._held.items()):
            if held.limit is None:
                continue
            late = now - held.since - held.limit
            if late > 0 and not held.is_cut:
                held.is_cut = True
                _shut(conn.sock, socket.SHUT_RDWR)
            lost += late > LOST
        if lost >= self.cfg.threads:
            self.log.critical("Every thread is blocked; worker %s ends and is replaced", self.pid)
            os._exit(1)


def _shut(sock: socket.socket, how: int) -> None:
    try:
        sock.shutdown(how)
    except OSError:
        return
