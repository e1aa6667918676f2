"""The client against a hostile server: its memory and its time are bounded, whatever is sent."""

from __future__ import annotations

import gzip
import json
import time
import tracemalloc
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import count

import pytest
from flask.testing import FlaskClient

from shortway_client import BadAnswer, Client, ShortwayClientError, TimedOut
from shortway_client._transport import MAX_BYTES, MAX_TIMES
from support.loopback import Handler, Script, answer, misbehaving

MIB = 1 << 20


def bomb(times: int) -> bytes:
    """Gzip of `times` MiB, a thousandth of that."""
    packer = zlib.compressobj(9, zlib.DEFLATED, 31)
    return b"".join(packer.compress(bytes(MIB)) for _ in range(times)) + packer.flush()


def endless(piece: bytes, pause: float = 0, head: bytes = b"") -> Script:
    """A step of a script: pieces for ever, as chunks or, with `head`, as they are."""

    def step(handler: Handler) -> None:
        with suppress(OSError):
            handler.wfile.write(
                head
                or b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n"
                b"Transfer-Encoding: chunked\r\n\r\n"
            )
            for _ in count():
                handler.wfile.write(piece if head else b"%x\r\n%b\r\n" % (len(piece), piece))
                handler.wfile.flush()
                time.sleep(pause)

    return step


@contextmanager
def bounded(most_mb: int) -> Iterator[None]:
    """At most so much memory at once."""
    tracemalloc.start()
    try:
        yield
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    print(f"peak {peak / MIB:.1f} MiB")
    assert peak < most_mb * MIB


def asked(script: Script, seconds: float = 5) -> type[ShortwayClientError]:
    with (
        misbehaving(script) as faulty,
        Client(faulty.url, timeout=seconds, retries=0) as client,
        pytest.raises(ShortwayClientError) as caught,
    ):
        client.get_health()
    return type(caught.value)


def test_a_bomb_is_not_unpacked_whole() -> None:
    packed = bomb(768)
    assert len(packed) < 3 * MIB
    with bounded(3 * MAX_BYTES // MIB):
        assert asked(answer(200, packed, Content_Encoding="gzip"), 60) is BadAnswer


@pytest.mark.parametrize("coding", ["br", "deflate", "gzip, gzip", "zstd"])
def test_no_other_coding_is_unpacked(coding: str) -> None:
    assert asked(answer(200, gzip.compress(b"{}"), Content_Encoding=coding)) is BadAnswer


def test_a_body_without_end_is_given_up() -> None:
    with bounded(3 * MAX_BYTES // MIB):
        assert asked(endless(bytes(MIB)), 60) is BadAnswer


@pytest.mark.parametrize(
    "script",
    [
        endless(b" ", 0.05),
        endless(b" ", 0.05, b"HTTP/1.1 200 OK\r\nContent-Length: 9999999\r\n\r\n"),
        endless(b"a", 0.05, b"HTTP/1.1 200 OK\r\nX-Name: "),
    ],
    ids=["chunks", "a body", "a head"],
)
def test_a_byte_now_and_then_is_given_up(script: Script) -> None:
    begun = time.monotonic()
    assert asked(script, 0.2) is TimedOut
    assert time.monotonic() - begun < MAX_TIMES * 0.2 + 5


def test_a_line_of_a_batch_is_bounded_as_well() -> None:
    request = {"chart": {"text": "| C |"}}
    with (
        misbehaving(endless(bytes(MIB))) as faulty,
        Client(faulty.url, retries=0) as client,
        bounded(4 * MAX_BYTES // MIB),
        pytest.raises(BadAnswer),
    ):
        list(client.find_paths([request]))


def test_no_more_voicings_than_there_were(client: FlaskClient) -> None:
    """A total that grows with each page would never be reached."""
    good = client.post("/v1/voicings", json={"symbol": "C7", "limit": 1}).get_json()
    pages = count()

    def page(handler: Handler) -> None:
        body = json.loads(handler.seen.body)
        found = good | {"total": 3 + next(pages), "voicings": good["voicings"] * 5}
        assert body["limit"] == 2
        answer(200, json.dumps(found).encode())(handler)

    with misbehaving(page) as faulty, Client(faulty.url) as asking:
        assert len(list(asking.iter_voicings("C7", page=2))) <= 3
