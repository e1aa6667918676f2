"""Requests as they arrive: none takes a thread before it has arrived as a whole.

Knows gunicorn's threaded worker, whose internals it extends, sockets, and as much of HTTP/1.1 as
says where a request ends (RFC 9112, sections 6 and 7.1). It validates nothing: a request whose end
cannot be seen from its head (a batch, which is answered while it arrives) counts as complete.

All of it runs on the worker's main thread, so that slow clients block no thread.
"""

from __future__ import annotations

import re
import socket
import time
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from selectors import EVENT_READ
from typing import Any, Final

from gunicorn import http
from gunicorn.workers.gthread import TConn, ThreadWorker

#: Timeouts in seconds: of a request's head once it has begun, then of its body.
HEAD: Final = 10.0
BODY: Final = 30.0
#: Seconds in which the unread rest of a body is skipped; else the connection closes.
DRAIN: Final = 0.1
#: Limit of a head in bytes.
MOST_HEAD: Final = 65_536
#: Limit in bytes of all requests that are arriving, in one process.
MOST_HELD: Final = 64 << 20
#: Bytes that are received at a time.
_PIECE: Final = 65_536
#: Bytes beside its content that a body in chunks may take: sizes, extensions, trailers.
_FRAMING: Final = 65_536

# Possessive quantifiers (`*+`) do not backtrack: a head may have 64 KiB.
_LINE: Final = re.compile(
    rb"(?:\r?\n)?[!-~]++ (?:https?://[^/\s]*+)?([^\s?]*+)\S*+ HTTP/1\.(\d)\r\n"
)
END: Final = b"\r\n\r\n"
_LENGTH: Final = re.compile(rb"\r\ncontent-length:[ \t]*+0*+(\d*)[ \t]*\r\n", re.IGNORECASE)
_CODING: Final = re.compile(rb"\r\ntransfer-encoding:[^\r\n]*chunked[ \t]*\r\n", re.IGNORECASE)
_EXPECT: Final = re.compile(rb"\r\nexpect:[ \t]*100-continue[ \t]*\r\n", re.IGNORECASE)
_SIZE: Final = re.compile(rb"([0-9A-Fa-f]+)[ \t]*(?:;[^\r\n]*)?\r\n")
#: Digits of a length that are read; more than a body may have.
_DIGITS: Final = 40
#: Limit in bytes of a chunk's size with its extensions.
_MOST_SIZE: Final = 8192
#: Calls whose bodies are read while they arrive.
STREAMED: Final = (b"/v1/batches",)


@dataclass(frozen=True, slots=True)
class Refused:
    """The response to a request that is rejected before it has arrived."""

    status: int
    reason: str
    detail: str


_LATE: Final = "the request did not arrive in time"
_SLOW: Final = Refused(408, "Request Timeout", _LATE)
_CROWDED: Final = Refused(503, "Service Unavailable", "too many requests are arriving; retry soon")
_NO_REQUEST: Final = Refused(400, "Bad Request", "the request line is malformed")
_LONG_HEAD: Final = Refused(
    431, "Request Header Fields Too Large", f"the head is longer than {MOST_HEAD:,} bytes"
)


class Coming:
    """A request that is arriving.

    Attributes
    ----------
    data : bytearray
    until : float
        When it has to be complete, by the monotonic clock.
    has_head : bool
    """

    def __init__(self, data: bytes, most_body: int) -> None:
        self.data = bytearray(data)
        self.until = time.monotonic() + HEAD
        self.has_head = False
        self._most_body = most_body
        self._searched = 0  # the head does not end before
        self._end: int | None = None  # of a body with Content-Length, once the head has arrived
        self._begin = self._next = 0  # where the body begins, and its next chunk
        self._expects: re.Match[bytes] | None = None

    def is_whole(self) -> bool:
        """Whether it is complete, or malformed, so that the application rejects it."""
        if not self.has_head and not self._find_head():
            return False
        return len(self.data) >= self._end if self._end is not None else self._has_last_chunk()

    def refused(self) -> Refused | None:
        """Why it is rejected, if it is."""
        if not self.has_head:
            if self.data.find(b"\n", 2) >= 0 and _LINE.match(self.data) is None:
                return _NO_REQUEST
            return _LONG_HEAD if len(self.data) > MOST_HEAD else None
        framing = _FRAMING if self._end is None else 0
        end = max(self._next, len(self.data)) if self._end is None else self._end
        if end - self._begin > self._most_body + framing:
            detail = f"the body is larger than {self._most_body:,} bytes"
            return Refused(413, "Content Too Large", detail)
        return None

    def take_expectation(self) -> int:
        """Remove ``Expect: 100-continue``, so that it is answered once; returns its bytes."""
        if self._expects is None:
            return 0
        start, end = self._expects.span()
        self.data[start:end] = b"\r\n"
        cut = end - start - 2
        self._begin -= cut
        self._next -= cut
        self._end = None if self._end is None else self._end - cut
        self._expects = None
        return cut

    def _find_head(self) -> bool:
        found = self.data.find(END, max(0, self._searched - 3))
        self._searched = len(self.data)
        if found < 0:
            return False
        self.has_head = True
        self.until = time.monotonic() + BODY
        self._frame(bytes(self.data[: found + len(END)]))
        return True

    def _frame(self, head: bytes) -> None:
        """Find the end of the body; unknown ends count as the end of the head."""
        self._end = self._begin = self._next = len(head)
        line = _LINE.match(head)
        if line is None or line[1] in STREAMED:
            return
        length, is_chunked = _LENGTH.search(head), _CODING.search(head) is not None
        if is_chunked and length is None:
            self._end = None
        elif length and not is_chunked:
            self._end = len(head) + int(length[1][:_DIGITS] or b"0")
        self._expects = _EXPECT.search(head) if line[2] != b"0" else None

    def _has_last_chunk(self) -> bool:
        """Skip the chunks that have arrived; a malformed one counts as the last."""
        while (rest := len(self.data) - self._next) > 2:
            found = _SIZE.match(self.data, self._next)
            if found is None:
                return rest > _MOST_SIZE or self.data.find(b"\r\n", self._next) >= 0
            if (size := int(found[1], 16)) == 0:
                return self.data.find(END, found.end() - 2) >= 0
            self._next = found.end() + size + 2
        return False


class GatheringWorker(ThreadWorker):  # type: ignore[misc]
    """The threaded worker whose threads get complete requests.

    Attributes
    ----------
    most_body : int
        Limit of a body in bytes.
    """

    most_body = 1024 * 1024

    def __init__(self, *args: Any, **named: Any) -> None:
        super().__init__(*args, **named)
        self._coming: dict[TConn, Coming] = {}
        self._bytes_held = 0

    def gathered(self, conn: TConn, head: bytes) -> None:
        """A request is complete; `head` is its first bytes."""
        raise NotImplementedError

    def turned_away(self, conn: TConn, why: Refused, begun: bytes) -> None:
        """A request that begins with `begun` is late or too large."""
        raise NotImplementedError

    def gather(self, conn: TConn, begun: bytes) -> None:
        """Wait until the request that begins with `begun` is complete, without a thread."""
        coming = self._coming[conn] = Coming(begun, self.most_body)
        self._bytes_held += len(begun)
        if not self._is_still_coming(conn, coming):
            self._decide(conn)
        else:
            conn.sock.setblocking(False)
            self.poller.register(conn.sock, EVENT_READ, partial(self._take, conn))

    def murder_pending(self) -> None:
        """Reject requests that do not arrive in time."""
        super().murder_pending()
        now = time.monotonic()
        for conn in [conn for conn, coming in self._coming.items() if coming.until < now]:
            self.poller.unregister(conn.sock)
            self.turned_away(conn, _SLOW, self._forget(conn))

    def _cap_keepalive(self, deadline: float) -> None:
        """At shutdown, do not wait for incomplete heads."""
        super()._cap_keepalive(deadline)
        for coming in self._coming.values():
            if not coming.has_head:
                coming.until = min(coming.until, deadline)

    def _keepalive_after(self, conn: TConn, keepalive: object) -> bool:
        """Do not let a thread wait for the unsent rest of a rejected batch."""
        soon = time.monotonic() + DRAIN
        return bool(keepalive) and bool(conn.parser.finish_body(deadline=soon))

    def _take(self, conn: TConn, sock: socket.socket) -> None:
        """Add what has arrived. A client that has stopped sending may still read."""
        coming = self._coming[conn]
        try:
            piece = sock.recv(_PIECE)
        except BlockingIOError:
            return
        except OSError:
            piece = b""
        coming.data += piece
        self._bytes_held += len(piece)
        if not piece or not self._is_still_coming(conn, coming):
            self.poller.unregister(sock)
            self._decide(conn, has_ended=not piece)

    def _is_still_coming(self, conn: TConn, coming: Coming) -> bool:
        if coming.is_whole() or coming.refused() or self._bytes_held > MOST_HELD:
            return False
        if cut := coming.take_expectation():
            self._bytes_held -= cut
            with suppress(OSError):
                conn.sock.send(b"HTTP/1.1 100 Continue\r\n\r\n", socket.MSG_DONTWAIT)
        return True

    def _decide(self, conn: TConn, *, has_ended: bool = False) -> None:
        """Hand over a complete request, or one that will not be completed; reject the others."""
        coming = self._coming[conn]
        data = self._forget(conn)
        if why := coming.refused():
            self.turned_away(conn, why, data)
        elif has_ended or coming.is_whole():
            if conn.parser is None:
                conn.parser = http.get_parser(self.cfg, conn.sock, conn.client)
            conn.parser.unreader.unread(data)
            self.gathered(conn, data)
        else:
            self.turned_away(conn, _CROWDED, data)

    def _forget(self, conn: TConn) -> bytes:
        data = bytes(self._coming.pop(conn).data)
        self._bytes_held -= len(data)
        return data
