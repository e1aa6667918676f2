"""A body as gunicorn's readers hold it: what has arrived is read, and nothing is waited for.

The one place where the service depends on what gunicorn does not document. If an upgrade fails,
`shortway.api.http.streaming_body` has to find another way.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from gunicorn.config import Config
from gunicorn.http import get_parser

from shortway.api.http.streaming_body import stream_body
from shortway.batch.stream import IncompleteInput

HEAD = b"POST /v1/batches HTTP/1.1\r\nHost: x\r\n"


def chunk(data: bytes) -> bytes:
    return b"%x\r\n%b\r\n" % (len(data), data)


class Sent:
    """Pieces that a client sends one by one; `asked` counts those that were waited for."""

    def __init__(self, *pieces: bytes) -> None:
        self._pieces = pieces
        self.asked = 0

    def __iter__(self) -> Iterator[bytes]:
        for piece in self._pieces:
            self.asked += 1
            yield piece


def environ(sent: Sent, length: int | None) -> dict[str, Any]:
    """What gunicorn gives the application for a request of these pieces."""
    request = next(get_parser(Config(), iter(sent), ("192.0.2.1", 1)))
    found = {"wsgi.input": request.body, "wsgi.input_terminated": True}
    return found | ({} if length is None else {"CONTENT_LENGTH": str(length)})


@pytest.mark.parametrize("is_chunked", [True, False])
def test_what_has_arrived_is_read_at_once(is_chunked: bool) -> None:
    lines = [b"one\n", b"two\n" * 5000, b"three\n"]
    length = sum(map(len, lines))
    if is_chunked:
        sent = Sent(HEAD + b"Transfer-Encoding: chunked\r\n\r\n", *map(chunk, lines), b"0\r\n\r\n")
    else:
        sent = Sent(HEAD + b"Content-Length: %d\r\n\r\n" % length, *lines)
    pieces = stream_body(environ(sent, None if is_chunked else length), 60.0)
    found = b""
    for number in range(3):
        while len(found) < len(b"".join(lines[: number + 1])):
            found += next(pieces)
        assert sent.asked == number + 2  # the head, and the pieces so far
    assert [*pieces] == []
    assert found == b"".join(lines)


@pytest.mark.parametrize(
    ("framing", "length"), [(b"Transfer-Encoding: chunked", None), (b"Content-Length: 99", 99)]
)
def test_a_body_that_ends_too_early_says_so(framing: bytes, length: int | None) -> None:
    sent = Sent(HEAD + framing + b"\r\n\r\n", chunk(b"one\n"))
    given = environ(sent, length)
    with pytest.raises(IncompleteInput, match="the body is incomplete"):
        list(stream_body(given, 60.0))
    assert given["wsgi.input"].failed is (length is None)  # no further request is read from it
