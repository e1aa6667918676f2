"""A batch that never ends: it loses its place, and its connection, at the limit of its time."""

from __future__ import annotations

import json
import socket
import time

from support.processes import serving

LINE = b'{"id": "a", "chart": {"text": "| C |"}}\n'
HEAD = (
    b"POST /v1/batches HTTP/1.1\r\nHost: x\r\nContent-Type: application/jsonl\r\n"
    b"Transfer-Encoding: chunked\r\n\r\n"
)


def test_a_batch_without_end_gives_its_place_back() -> None:
    with (
        serving(MAX_BATCHES="1", MAX_BATCH_SECONDS="2", QUEUE_SECONDS="1") as service,
        socket.create_connection(("127.0.0.1", service.port), 20) as endless,
    ):
        endless.sendall(HEAD)
        begun = time.monotonic()
        status, closed = 0, 0.0
        while time.monotonic() - begun < 30 and not (status == 200 and closed):
            try:
                endless.sendall(b"%x\r\n%b\r\n" % (len(LINE), LINE))
            except OSError:
                closed = closed or time.monotonic() - begun
            time.sleep(0.1)
            if time.monotonic() - begun > 2.5 and status != 200:
                body = json.loads(LINE)
                status = service.ask("/v1/batches", json.dumps(body).encode(), "POST",
                                     Content_Type="application/jsonl")[0]  # fmt: skip
        print(f"closed after {closed:.1f} s")
        assert status == 200
        assert 0 < closed < 20
