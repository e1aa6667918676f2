"""The body of a request as it comes in, piece by piece, without a cap on the whole.

Knows WSGI servers. A piece is what has arrived, where the server tells; else a kilobyte. A client
that stops, or sends half of what it promised, ends the pieces with `BrokenOff`.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from typing import Any, Final, cast

from werkzeug.wsgi import get_content_length, get_input_stream

from shortway.batch.stream import BLOCK, BrokenOff
from shortway.request_trace import note

#: Bytes read at a time from a server that does not tell what has arrived: a read waits for all.
_STEP: Final = 1024

_log = logging.getLogger("shortway.api")


def stream_body(environ: dict[str, Any], idle: float) -> Iterator[bytes]:
    """The body's bytes in order, for a generator that outlives the view.

    Parameters
    ----------
    environ : dict
        WSGI's.
    idle : float
        Seconds that the client may neither send nor read, where the server lends its socket.

    Raises
    ------
    BrokenOff
        The body has no end.
    """
    missing = get_content_length(environ)
    stream = get_input_stream(environ)
    if "gunicorn.socket" in environ:
        environ["gunicorn.socket"].settimeout(idle)
    received = 0
    while piece := _read(stream):
        missing = None if missing is None else missing - len(piece)
        received += len(piece)
        note("received", received)
        yield piece
    if missing:
        raise _broken(f"{missing:,} of its bytes have not come")


def _read(stream: Any) -> bytes:
    try:
        reader = getattr(stream, "reader", None)
        return cast("bytes", stream.read(_STEP)) if reader is None else _arrived(reader)
    except Exception as error:  # each server has its own for a body that is none
        _log.info("the body of a batch broke off", exc_info=True)
        if hasattr(stream, "failed"):  # gunicorn then reads no further request from it
            stream.failed = True
        late = isinstance(error, TimeoutError)
        why = "nothing more has come for too long" if late else "the connection or a chunk is none"
        raise _broken(why) from None


def _arrived(reader: Any) -> bytes:
    """What one of gunicorn's readers holds: one byte waits for the next piece, the rest is there.

    A reader of chunks holds the rest itself, one of a known length leaves it with the socket's.
    """
    first: bytes = reader.read(1)
    holder = reader if hasattr(reader, "buf") else reader.unreader
    held = min(holder.buf.tell(), BLOCK) if first else 0
    rest: bytes = reader.read(held)
    return first + rest


def _broken(why: str) -> BrokenOff:
    return BrokenOff("body-incomplete", f"the body breaks off: {why}")
