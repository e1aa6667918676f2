"""Requests as they come in: none takes a thread before it is there as a whole.

Knows gunicorn's threaded worker, whose insides it extends, sockets, and as much of HTTP/1.1 as says
where a request ends (RFC 9112, sections 6 and 7.1). It judges nothing: what it cannot see the end
of once it has a head (a batch, which is answered while it comes) counts as whole, and whoever reads
it judges it.

All of it runs on the worker's main thread, so that clients that send drop by drop hold nobody up.
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

#: Seconds in which the head of a request has to come once it has begun, and then its body.
HEAD: Final = 10.0
BODY: Final = 30.0
#: Seconds in which what nobody reads of a body is passed over; else the connection closes.
DRAIN: Final = 0.1
#: Bytes of a head.
MOST_HEAD: Final = 65_536
#: Bytes of all requests that are coming, in one process.
MOST_HELD: Final = 64 << 20
#: Bytes that are taken at a time.
_PIECE: Final = 65_536
#: Bytes beside its content that a body in chunks may take: sizes, extensions, trailers.
_FRAMING: Final = 65_536

# What could match in many ways takes all it can at once (`*+`): a head may have 64 KiB of it.
_LINE: Final = re.compile(
    rb"(?:\r?\n)?[!-~]++ (?:https?://[^/\s]*+)?([^\s?]*+)\S*+ HTTP/1\.(\d)\r\n"
)
END: Final = b"\r\n\r\n"
_LENGTH: Final = re.compile(rb"\r\ncontent-length:[ \t]*+0*+(\d*)[ \t]*\r\n", re.IGNORECASE)
_CODING: Final = re.compile(rb"\r\ntransfer-encoding:[^\r\n]*chunked[ \t]*\r\n", re.IGNORECASE)
_EXPECT: Final = re.compile(rb"\r\nexpect:[ \t]*100-continue[ \t]*\r\n", re.IGNORECASE)
_SIZE: Final = re.compile(rb"([0-9A-Fa-f]+)[ \t]*(?:;[^\r\n]*)?\r\n")
#: Digits of a length that are read; so many are too large a body already.
_DIGITS: Final = 40
#: Bytes of a chunk's size with its extensions.
_MOST_SIZE: Final = 8192
#: Calls whose bodies are read while they come.
STREAMED: Final = (b"/v1/batches",)


@dataclass(frozen=True, slots=True)
class Refused:
    """What is answered to a request that is not waited for."""

    status: int
    reason: str
    detail: str


_LATE: Final = "the request has not come in time"
_SLOW: Final = Refused(408, "Request Timeout", _LATE)
_CROWDED: Final = Refused(503, "Service Unavailable", "too much is coming; ask again soon")
_NO_REQUEST: Final = Refused(400, "Bad Request", "the first line is that of no request")
_LONG_HEAD: Final = Refused(
    431, "Request Header Fields Too Large", f"the head is longer than {MOST_HEAD:,} bytes"
)


class Coming:
    """What has come of a request, from its first byte on.

    Attributes
    ----------
    data : bytearray
    until : float
        When it has to be whole, by the monotonic clock.
    has_head : bool
    """

    def __init__(self, data: bytes, most_body: int) -> None:
        self.data = bytearray(data)
        self.until = time.monotonic() + HEAD
        self.has_head = False
        self._most_body = most_body
        self._searched = 0  # no end of the head lies before
        self._end: int | None = None  # of a body whose length is known, once the head is there
        self._begin = self._next = 0  # where the body begins, and its next chunk
        self._expects: re.Match[bytes] | None = None

    def is_whole(self) -> bool:
        """Whether all of it is there, or whoever reads it will refuse it as it is."""
        if not self.has_head and not self._find_head():
            return False
        return len(self.data) >= self._end if self._end is not None else self._has_last_chunk()

    def refused(self) -> Refused | None:
        """Why it is not waited for, if it is not."""
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
        """If the client waits to be told to go on: bytes of the header in which it says so.

        They are gone then, so that it is told once.
        """
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
        """Where the body ends; where that cannot be seen, right here."""
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
        """Walk over the chunks that have come; one that is none is the last."""
        while (rest := len(self.data) - self._next) > 2:
            found = _SIZE.match(self.data, self._next)
            if found is None:
                return rest > _MOST_SIZE or self.data.find(b"\r\n", self._next) >= 0
            if (size := int(found[1], 16)) == 0:
                return self.data.find(END, found.end() - 2) >= 0
            self._next = found.end() + size + 2
        return False


class GatheringWorker(ThreadWorker):  # type: ignore[misc]
    """The threaded worker whose threads are given requests that are there.

    Attributes
    ----------
    most_body : int
        Bytes of the largest body that is read.
    """

    most_body = 1024 * 1024

    def __init__(self, *args: Any, **named: Any) -> None:
        super().__init__(*args, **named)
        self._coming: dict[TConn, Coming] = {}
        self._bytes_held = 0

    def gathered(self, conn: TConn, head: bytes) -> None:
        """A request is there, `head` and more; called with what comes next at the earliest."""
        raise NotImplementedError

    def turned_away(self, conn: TConn, why: Refused, begun: bytes) -> None:
        """A request that begins with `begun` has not come in time, or has come too large."""
        raise NotImplementedError

    def gather(self, conn: TConn, begun: bytes) -> None:
        """Wait until the request that begins with `begun` is whole, without a thread."""
        coming = self._coming[conn] = Coming(begun, self.most_body)
        self._bytes_held += len(begun)
        if not self._is_still_coming(conn, coming):
            self._decide(conn)
        else:
            conn.sock.setblocking(False)
            self.poller.register(conn.sock, EVENT_READ, partial(self._take, conn))

    def murder_pending(self) -> None:
        """As it is; whoever takes too long to ask is told so, and let go."""
        super().murder_pending()
        now = time.monotonic()
        for conn in [conn for conn, coming in self._coming.items() if coming.until < now]:
            self.poller.unregister(conn.sock)
            self.turned_away(conn, _SLOW, self._forget(conn))

    def _cap_keepalive(self, deadline: float) -> None:
        """Where the worker stops, half a head does not keep it."""
        super()._cap_keepalive(deadline)
        for coming in self._coming.values():
            if not coming.has_head:
                coming.until = min(coming.until, deadline)

    def _keepalive_after(self, conn: TConn, keepalive: object) -> bool:
        """As it is, but that no thread waits for what a refused batch has not sent yet."""
        soon = time.monotonic() + DRAIN
        return bool(keepalive) and bool(conn.parser.finish_body(deadline=soon))

    def _take(self, conn: TConn, sock: socket.socket) -> None:
        """Add what has come. A client that sends no more may still read: it is answered."""
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
        """Hand over what is whole, or will not be; turn the rest away."""
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
