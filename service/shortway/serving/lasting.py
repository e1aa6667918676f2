"""How a worker of gunicorn's ends, and what keeps it going: no request is lost, none holds it up.

Knows gunicorn's threaded worker, whose insides it extends, and the service's flag for draining.

A worker that has answered as many requests as it should *retires*: the arbiter starts another at
once, this one takes no new connections, says ``Connection: close`` in its next answer on each that
it has, and ends when the last is closed. A worker that is replaced by SIGHUP does the same. One
that is stopped with the whole service takes what has already come to its port, then closes it.

A client that takes its answer drop by drop is cut off by the main thread, which sees all requests
under way (a request that comes so is `gathering`'s); where every thread is still held long
after the deadline, the process ends and another takes its place.

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

from shortway.api.http import shutdown_flag as draining
from shortway.serving import gunicorn_hooks
from shortway.serving.admission import PROBES, AdmittingWorker, is_readable
from shortway.serving.gathering import STREAMED

#: Seconds beyond the deadline in which the answer to a request is taken.
TRANSFER: Final = 30.0
#: Seconds in which a probe is answered and its answer taken: others wait for the same thread.
PROBED: Final = 5.0
#: Seconds beyond these after which a thread counts as lost.
LOST: Final = 15.0
#: Seconds that a retired worker goes on for a batch.
RETIRED: Final = 3600.0
#: Calls that may take as long as they like; they have a limit for silence.
_ENDLESS: Final = tuple(path.decode() for path in STREAMED)
#: Connections that are taken at the last moment, at most.
_LAST: Final = 1024


@dataclass(slots=True)
class _Held:
    """What a thread is at: since when, how long it may take, whether it was told."""

    since: float
    limit: float | None
    is_cut: bool = False


class LastingWorker(AdmittingWorker):
    """The admitting worker that loses nothing when it ends.

    Attributes
    ----------
    deadline : float
        Seconds after which work on a request stops.
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
        """SIGTERM: of the whole service, or of this worker, which others have replaced."""
        if draining.is_shutting_down():
            super().handle_exit(number, frame)
        else:
            self._retired_at = self._retired_at or time.monotonic()

    def handle_request(self, req: Any, conn: TConn) -> Any:
        """Answer a request; on the way out, and to a probe, say that the connection closes.

        Whoever sent many probes and took no answer would hold up all others.
        """
        if req.path in _ENDLESS and conn in self._held:
            self._held[conn].limit = None
        if self.nr + 1 >= self._most and self._retired_at is None:
            self._retired_at = time.monotonic()
            gunicorn_hooks.request_replacement(self)
        if self._retired_at is not None or draining.is_shutting_down() or req.path in PROBES:
            req.force_close()
        return super().handle_request(req, conn)

    def set_accept_enabled(self, enabled: bool) -> None:
        """As it is; a service that stops takes what has come, and closes its port at once."""
        super().set_accept_enabled(enabled)
        if self.alive or not draining.is_shutting_down():
            return
        for listener in self.sockets:
            for _ in range(_LAST):
                if listener.fileno() < 0 or not is_readable(listener):
                    break
                self.accept(listener)
            listener.close()

    # --- going on --------------------------------------------------------------------------------

    def notify(self) -> None:
        """Once a second or more often: look after the threads, then say that all is well."""
        now = time.monotonic()
        self._cut_off(now)
        if self._retired_at is not None:
            self.worker_connections = 0  # the main loop then accepts nothing
            if not self.nr_conns or now - self._retired_at > RETIRED:
                self.alive = False
        gunicorn_hooks.refresh_metrics(self)
        super().notify()

    def handle(self, conn: TConn) -> Any:
        """Answer what comes on a connection, under watch."""
        with self._watched(conn, self.deadline + TRANSFER):
            return super().handle(conn)

    def handle_probe(self, conn: TConn) -> Any:
        """Answer a probe, under watch."""
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
        """Free the threads whose clients take too long; end where nothing frees them."""
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
            self.log.critical("Every thread is lost; worker %s ends for another", self.pid)
            os._exit(1)


def _shut(sock: socket.socket, how: int) -> None:
    try:
        sock.shutdown(how)
    except OSError:
        return
