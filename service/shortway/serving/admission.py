"""Admission: a gunicorn worker that rejects at once what it could only handle late.

Knows gunicorn's threaded worker, whose internals it extends, and no noun. That worker lets every
connection wait for a thread, however many wait already. Here a connection waits once its request
has arrived (`gathering`); where `most_waiting` do so, the next is rejected with 503 as soon as it
begins, and closed, so that the client may retry at another process. Health checks have a thread of
their own and are never rejected.

All but `handle` and `handle_probe` runs on the worker's main thread.
"""

from __future__ import annotations

import re
import select
import socket
import time
from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from selectors import EVENT_READ
from typing import Any, Final

from gunicorn import util
from gunicorn.workers.gthread import TConn

from shortway.serving.gathering import END, GatheringWorker, Refused

#: URLs of health checks and metrics, and how such requests begin.
PROBES: Final = ("/healthz", "/readyz", "/metrics")
PROBE_BEGINS: Final = re.compile(rb"(GET|HEAD) (%b)[ ?]" % "|".join(PROBES).encode())
_PIECE: Final = 65_536
_FULL: Final = Refused(503, "Service Unavailable", "too many requests are waiting; retry soon")
#: Connections that a full worker accepts, to reject them, before it serves its threads again.
_AT_ONCE: Final = 64
#: Seconds in which a client has to close its side.
_LINGER: Final = 2.0
#: Seconds between two log lines about rejected requests.
_SAID_EVERY: Final = 10.0


class AdmittingWorker(GatheringWorker):
    """The gathering worker with a limit of requests that wait for a thread.

    Attributes
    ----------
    most_waiting : int
        Requests that may wait beside those that threads handle.
    refused : int
        Requests rejected so far.
    """

    most_waiting = 16

    def __init__(self, *args: Any, **named: Any) -> None:
        super().__init__(*args, **named)
        self.refused = self._said = 0
        self._said_at = 0.0
        self._inside: deque[TConn] = deque()  # waiting, or handled by a thread
        self._leaving: deque[TConn] = deque()  # to be closed by the client, the earliest first

    def init_process(self) -> None:
        """Make the probes' thread, then go on."""
        self._probes = ThreadPoolExecutor(1)
        super().init_process()

    def accept(self, listener: socket.socket) -> None:
        """Accept a connection; where no more may wait, all others that are pending, too."""
        super().accept(listener)
        taken = 1
        while self._is_full() and taken < _AT_ONCE and is_readable(listener):
            super().accept(listener)
            taken += 1

    def enqueue_req(self, conn: TConn) -> None:
        """Gather the request that begins on a connection, or reject it."""
        begun = _arrived(conn)
        if begun is None:
            self._await(conn)
        elif not begun:
            self._part(conn)
        elif self._is_full() and not PROBE_BEGINS.match(begun):
            self._refuse(conn, begun)
        else:
            self.gather(conn, begun)

    def gathered(self, conn: TConn, head: bytes) -> None:
        """Let a request wait for a thread, or reject it."""
        if PROBE_BEGINS.match(head) and END in head:
            self._submit(self._probes, self.handle_probe, conn)
        elif self._is_full():
            self._refuse(conn, head)
        else:
            self._inside.append(conn)
            self._submit(self.tpool, self.handle, conn)

    def handle(self, conn: TConn) -> Any:
        """Handle a connection, and count it out."""
        try:
            return super().handle(conn)
        finally:
            self._inside.pop()  # whichever: they are counted

    def handle_probe(self, conn: TConn) -> Any:
        """Handle a health check, on its own thread."""
        return super().handle(conn)

    def murder_pending(self) -> None:
        """Close rejected connections that clients keep open, and log how many were rejected."""
        super().murder_pending()
        now = time.monotonic()
        while self._leaving and self._leaving[0].timeout < now:
            conn = self._leaving.popleft()
            self.poller.unregister(conn.sock)
            self._part(conn)
        if self.refused > self._said and now - self._said_at > _SAID_EVERY:
            self.log.warning(
                "%d requests rejected: too many are waiting", self.refused - self._said
            )
            self._said, self._said_at = self.refused, now

    def _is_full(self) -> bool:
        most: int = self.cfg.threads + self.most_waiting
        return len(self._inside) >= most

    def _submit(self, pool: ThreadPoolExecutor, handle: Any, conn: TConn) -> None:
        conn.data_ready = True

        def ended(future: Future[Any]) -> None:
            self.method_queue.defer(self.finish_request, conn, future)

        pool.submit(handle, conn).add_done_callback(ended)

    def _await(self, conn: TConn) -> None:
        """Wait for a request on a new connection, without a thread."""
        conn.timeout = time.monotonic() + self.cfg.keepalive
        conn.sock.setblocking(False)
        self.pending_conns.append(conn)
        self.poller.register(conn.sock, EVENT_READ, partial(self.on_pending_socket_readable, conn))

    def _cap_keepalive(self, deadline: float) -> None:
        """At shutdown, do not wait for connections without a request."""
        super()._cap_keepalive(deadline)
        for conn in self.pending_conns:
            conn.timeout = min(conn.timeout, deadline)

    def _refuse(self, conn: TConn, begun: bytes) -> None:
        self.refused += 1
        self.turned_away(conn, _FULL, begun)

    def refuse(
        self, sock: socket.socket, status: int, reason: str, message: str, begun: bytes = b""
    ) -> None:
        """Write the response to a rejected request, which begins with `begun`."""
        util.write_error(sock, status, reason, message)

    def turned_away(self, conn: TConn, why: Refused, begun: bytes) -> None:
        """Reject without a thread, and close."""
        try:
            conn.sock.setblocking(False)
            self.refuse(conn.sock, why.status, why.reason, why.detail, begun)
        except OSError:
            self._part(conn)
        else:
            self._leave(conn)

    def finish_request(self, conn: TConn, future: Future[Any]) -> None:
        """Finish a request; closing a connection does not block the main thread."""
        if future.exception() or future.result():
            super().finish_request(conn, future)
        else:
            self._leave(conn)

    def _leave(self, conn: TConn) -> None:
        """Close once the client has: a client that still sends could lose its response."""
        conn.timeout = time.monotonic() + _LINGER
        try:
            conn.sock.setblocking(False)
            conn.sock.shutdown(socket.SHUT_WR)
            self.poller.register(conn.sock, EVENT_READ, partial(self._discard, conn))
        except (OSError, ValueError):  # closed already
            self._part(conn)
        else:
            self._leaving.append(conn)

    def _discard(self, conn: TConn, client: socket.socket) -> None:
        try:
            more = client.recv(65_536)
        except BlockingIOError:
            return
        except OSError:
            more = b""
        if not more:
            self._leaving.remove(conn)
            self.poller.unregister(client)
            self._part(conn)

    def _part(self, conn: TConn) -> None:
        self.nr_conns -= 1
        conn.close()


def _arrived(conn: TConn) -> bytes | None:
    """The bytes that have arrived; empty: closed; None: nothing yet."""
    if conn.parser is not None and (held := conn.parser.unreader.take_buffered()):
        return bytes(held)
    try:
        return bytes(conn.sock.recv(_PIECE, socket.MSG_DONTWAIT))
    except BlockingIOError:
        return None
    except OSError:
        return b""


def is_readable(listener: socket.socket) -> bool:
    """Whether a connection is pending."""
    polled = select.poll()
    polled.register(listener, select.POLLIN)
    return bool(polled.poll(0))
