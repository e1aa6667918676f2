"""Who may wait: a gunicorn worker that refuses at once what it could only answer late.

Knows gunicorn's threaded worker, whose insides it extends, and no noun. That worker lets every
connection wait for a thread, however many wait already. Here a connection comes to wait when its
request has come (`gathering`); where `most_waiting` do so, it is answered 503 as soon as
it begins, and closed, so that it may come back to another process. Probes have a thread of their
own and are never refused: a busy process is neither dead nor unseen.

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

#: What probes ask for, and how they begin.
PROBES: Final = ("/healthz", "/readyz", "/metrics")
PROBE_BEGINS: Final = re.compile(rb"(GET|HEAD) (%b)[ ?]" % "|".join(PROBES).encode())
_PIECE: Final = 65_536
_FULL: Final = Refused(503, "Service Unavailable", "too many wait; ask again soon")
#: Connections that a full worker takes, to refuse them, before it looks to its threads again.
_AT_ONCE: Final = 64
#: Seconds that a client has to close after us.
_LINGER: Final = 2.0
#: Seconds between two lines of the log about requests refused.
_SAID_EVERY: Final = 10.0


class AdmittingWorker(GatheringWorker):
    """The gathering worker with a bound on those who wait for a thread.

    Attributes
    ----------
    most_waiting : int
        Requests that may wait beside those that threads are at.
    refused : int
        How many were refused so far.
    """

    most_waiting = 16

    def __init__(self, *args: Any, **named: Any) -> None:
        super().__init__(*args, **named)
        self.refused = self._said = 0
        self._said_at = 0.0
        self._inside: deque[TConn] = deque()  # waits, or a thread is at it
        self._leaving: deque[TConn] = deque()  # answered and told to close, the earliest first

    def init_process(self) -> None:
        """Make the probes' thread, then go on."""
        self._probes = ThreadPoolExecutor(1)
        super().init_process()

    def accept(self, listener: socket.socket) -> None:
        """Take a connection; where no more may wait, all that other workers have left as well."""
        super().accept(listener)
        taken = 1
        while self._is_full() and taken < _AT_ONCE and is_readable(listener):
            super().accept(listener)
            taken += 1

    def enqueue_req(self, conn: TConn) -> None:
        """Let what has come on a connection gather, or refuse it."""
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
        """Let a request wait for a thread, or refuse it."""
        if PROBE_BEGINS.match(head) and END in head:
            self._submit(self._probes, self.handle_probe, conn)
        elif self._is_full():
            self._refuse(conn, head)
        else:
            self._inside.append(conn)
            self._submit(self.tpool, self.handle, conn)

    def handle(self, conn: TConn) -> Any:
        """As it is, and one fewer inside."""
        try:
            return super().handle(conn)
        finally:
            self._inside.pop()  # whichever: they are counted

    def handle_probe(self, conn: TConn) -> Any:
        """Answer a probe, on the probes' thread."""
        return super().handle(conn)

    def murder_pending(self) -> None:
        """As it is; refused clients that do not go are let go, and the log is told."""
        super().murder_pending()
        now = time.monotonic()
        while self._leaving and self._leaving[0].timeout < now:
            conn = self._leaving.popleft()
            self.poller.unregister(conn.sock)
            self._part(conn)
        if self.refused > self._said and now - self._said_at > _SAID_EVERY:
            self.log.warning("%d requests refused: too many wait", self.refused - self._said)
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
        """Where the worker stops, nobody who has sent nothing keeps it."""
        super()._cap_keepalive(deadline)
        for conn in self.pending_conns:
            conn.timeout = min(conn.timeout, deadline)

    def _refuse(self, conn: TConn, begun: bytes) -> None:
        self.refused += 1
        self.turned_away(conn, _FULL, begun)

    def refuse(
        self, sock: socket.socket, status: int, reason: str, message: str, begun: bytes = b""
    ) -> None:
        """Write the answer to a request that begins with `begun`, as far as that is known."""
        util.write_error(sock, status, reason, message)

    def turned_away(self, conn: TConn, why: Refused, begun: bytes) -> None:
        """Answer without a thread, and close."""
        try:
            conn.sock.setblocking(False)
            self.refuse(conn.sock, why.status, why.reason, why.detail, begun)
        except OSError:
            self._part(conn)
        else:
            self._leave(conn)

    def finish_request(self, conn: TConn, future: Future[Any]) -> None:
        """As it is, but that closing a connection waits for its client without the main thread."""
        if future.exception() or future.result():
            super().finish_request(conn, future)
        else:
            self._leave(conn)

    def _leave(self, conn: TConn) -> None:
        """Close, once the client has: it could lose its answer if it still sends."""
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
    """What has come; none: closed; None: nothing yet."""
    if conn.parser is not None and (held := conn.parser.unreader.take_buffered()):
        return bytes(held)
    try:
        return bytes(conn.sock.recv(_PIECE, socket.MSG_DONTWAIT))
    except BlockingIOError:
        return None
    except OSError:
        return b""


def is_readable(listener: socket.socket) -> bool:
    """Whether a connection waits to be taken."""
    polled = select.poll()
    polled.register(listener, select.POLLIN)
    return bool(polled.poll(0))
