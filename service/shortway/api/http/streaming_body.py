"""A request body as a stream, without a limit on its size.

Knows WSGI servers, and gunicorn's readers by attributes that it does not document: nothing else
tells what has arrived. tests/api/http/test_streaming_body.py fails where they change; any other
server's body is read a kilobyte at a time. A client that stops before the end of its body ends the
stream with `IncompleteInput`.
"""

import logging
from collections.abc import Iterator
from typing import Any, Final, cast

from werkzeug.wsgi import get_content_length, get_input_stream

from shortway.batch.stream import BLOCK, IncompleteInput
from shortway.request_trace import update_request

#: Bytes read at a time from a server that does not tell what has arrived: a read waits for all.
_STEP: Final = 1024

_log = logging.getLogger("shortway.api")


def stream_body(environ: dict[str, Any], idle: float) -> Iterator[bytes]:
    """The body's bytes in order, for a generator that outlives the view.

    `environ`: WSGI's. `idle`: seconds that the client may neither send nor read, where the server
    lends its socket.

    Raises BrokenOff if the body is incomplete.
    """
    missing = get_content_length(environ)
    stream = get_input_stream(environ)
    if "gunicorn.socket" in environ:
        environ["gunicorn.socket"].settimeout(idle)
    received = 0
    while piece := _read(stream):
        missing = None if missing is None else missing - len(piece)
        received += len(piece)
        update_request(received=received)
        yield piece
    if missing:
        raise _broken(f"{missing:,} of its bytes are missing")


def _read(stream: Any) -> bytes:
    try:
        reader = getattr(stream, "reader", None)
        return cast("bytes", stream.read(_STEP)) if reader is None else _arrived(reader)
    except Exception as error:  # each server has its own for a body that breaks off
        _log.info("the body of a batch is incomplete", exc_info=True)
        if hasattr(stream, "failed"):  # gunicorn then reads no further request from it
            stream.failed = True
        late = isinstance(error, TimeoutError)
        why = (
            "the client sent nothing for too long"
            if late
            else "the connection ended, or a chunk is malformed"
        )
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


def _broken(why: str) -> IncompleteInput:
    return IncompleteInput("body-incomplete", f"the body is incomplete: {why}")
