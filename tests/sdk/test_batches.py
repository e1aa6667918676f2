"""`solve_paths`: against the real application, and against a server that drops, refuses, hangs."""

from __future__ import annotations

import gzip
import itertools
import json
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from shortway.api import create_app
from shortway_client import (
    BadAnswer,
    Chart,
    ChartChord,
    Client,
    ConnectionFailed,
    PathRequest,
    PathResult,
    Pin,
    RateLimited,
    Refused,
    Setting,
    ShortwayClientError,
    TimedOut,
    Unavailable,
)
from shortway_client._batch import WINDOW, WINDOW_BYTES, windows
from support.loopback import Faulty, Script, Seen, answer, cut, hanging, misbehaving, served
from support.tables import each_row

CHARTS = ("| Dm7 | G7 |", "| Fm7 | Bb7 |", "| C | F |", "| Gm7 | C7 | F |")
Json = dict[str, Any]


def asked(count: int) -> Iterator[Json]:
    return ({"chart": CHARTS[k % len(CHARTS)]} for k in range(count))


# --- the real application -------------------------------------------------------------------------


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    with served(create_app()) as url, Client(url) as client:
        yield client


def test_paths_are_those_of_single_calls_in_order(client: Client) -> None:
    requests = [
        PathRequest("| Dm7 | G7 |", Setting(hands="left"), pins=(Pin(0, form="A"),), id="mine"),
        PathRequest(Chart(measures=((ChartChord("C7", 4),), (ChartChord("F7", 4),))), loop=True),
        {"chart": {"text": "| Dq |"}},
        {"chart": '{"measures": [[{"symbol": "C"}]]}', "setting": '{"hands": "right"}', "id": ""},
        {"chart": {"text": "| C |"}, "swing": 1},
    ]
    found = list(client.find_paths(requests))
    assert [(r.index, r.id) for r in found] == [(0, "mine"), (1, "1"), (2, "2"), (3, ""), (4, "4")]
    left = client.find_path("| Dm7 | G7 |", {"hands": "left"}, pins=[{"step": 0, "form": "A"}])
    assert found[0].path == left
    assert found[1].path is not None
    assert found[1].path.loop_motion is not None
    assert found[2].problem is not None
    assert (found[2].problem.code, found[2].problem.errors[0].position) == ("symbol-unreadable", 3)
    assert found[3].path is not None
    assert found[3].path.setting.hands == "right"
    assert found[4].problem is not None
    assert found[4].problem.code == "unknown-field"


@each_row("workers", [1, 2, 5])
@each_row("count", [0, 1, WINDOW, WINDOW + 1, 3 * WINDOW + 7])
def test_none_lost_none_twice(client: Client, count: int, workers: int) -> None:
    found = list(client.find_paths(asked(count), workers=workers))
    assert [(r.index, r.id) for r in found] == [(k, str(k)) for k in range(count)]
    assert all(r.path is not None for r in found)
    assert [r.path.steps[0].symbol for r in found[:4] if r.path] == [
        "Dm7", "Fm7", "C", "Gm7"
    ][:count]  # fmt: skip


def test_requests_are_read_as_they_are_needed(client: Client) -> None:
    read: list[int] = []

    def endless() -> Iterator[Json]:
        for k in itertools.count():
            read.append(k)
            yield {"chart": CHARTS[0]}

    results = client.find_paths(endless(), workers=2)
    assert read == []
    for k in range(3 * WINDOW):
        assert next(results).index == k
        assert len(read) <= k + 1 + 3 * WINDOW
    results.close()  # type: ignore[attr-defined]
    assert no_windows_left()


def no_windows_left() -> bool:
    """Whether the threads of all windows end within a while."""
    for _ in range(100):
        if not any(t.name == "shortway-window" for t in threading.enumerate()):
            return True
        time.sleep(0.05)
    return False


def test_what_came_before_a_callers_own_error_is_given_first(client: Client) -> None:
    def failing() -> Iterator[Json]:
        yield from asked(WINDOW + 3)
        raise LookupError("the disk is gone")

    results = client.find_paths(failing())
    assert len(list(itertools.islice(results, WINDOW + 3))) == WINDOW + 3
    with pytest.raises(LookupError, match="disk"):
        next(results)


def test_a_request_that_has_no_json_is_the_callers_own_error(client: Client) -> None:
    with pytest.raises(ValueError, match="Out of range float"):
        list(client.find_paths([{"chart": "C", "setting": {"reach_mm": float("nan")}}]))


def test_a_line_too_long_is_one_problem(client: Client) -> None:
    found = list(client.find_paths([{"chart": "C" + "7" * 2**20}, {"chart": "| C |"}]))
    assert found[0].problem is not None
    assert (found[0].id, found[0].problem.code) == ("0", "line-too-large")
    assert found[1].path is not None


def test_windows_are_bounded_in_lines_and_bytes() -> None:
    sizes = [[len(line.raw) for line in window] for window in windows(asked(600))]
    assert [len(window) for window in sizes] == [256, 256, 88]
    long = ({"chart": "C" * size} for size in (50_000, 50_000, 50_000, 900_000, 10))
    sizes = [[len(line.raw) for line in window] for window in windows(long)]
    assert [len(window) for window in sizes] == [2, 1, 1, 1]
    assert all(sum(window) <= WINDOW_BYTES or len(window) == 1 for window in sizes)


def test_workers_are_counted_at_once(client: Client) -> None:
    with pytest.raises(ValueError, match="at least one worker"):
        client.find_paths([], workers=0)


@pytest.mark.peer
def test_progress(
    client: Client, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert len(list(client.find_paths(list(asked(5)), progress=True))) == 5
    assert "5/5" in capsys.readouterr().err
    monkeypatch.setitem(sys.modules, "tqdm", None)
    with pytest.raises(ImportError, match=r"shortway-client\[progress\]"):
        client.find_paths([], progress=True)


# --- a server that misbehaves ---------------------------------------------------------------------


def lines_of(seen: Seen) -> list[Json]:
    """The lines of a request."""
    packed = seen.headers.get("content-encoding") == "gzip"
    body = gzip.decompress(seen.body) if packed else seen.body
    return [json.loads(line) for line in body.splitlines()]


def told(line: Json, number: int) -> bytes:
    problem = {
        "type": "x",
        "title": "T",
        "status": 422,
        "code": line["chart"]["text"],
        "detail": "D",
    }
    return json.dumps({"id": line["id"], "line": number, "problem": problem}).encode() + b"\n"


def lines(keep: int = 10**6, end: Callable[[Any], None] | None = None, tail: bytes = b"") -> Script:
    """Answer the first `keep` lines in chunks, then `tail`; and end well, or as `end` does."""

    def step(handler: Any) -> None:
        handler.send_response(200)
        handler.send_header("Content-Type", "application/jsonl")
        handler.send_header("Transfer-Encoding", "chunked")
        handler.end_headers()
        for number, line in enumerate(lines_of(handler.seen)[:keep]):
            write(handler, told(line, number + 1))
        if tail:
            write(handler, tail)
        if end is None:
            handler.wfile.write(b"0\r\n\r\n")
        else:
            end(handler)

    return step


def write(handler: Any, data: bytes) -> None:
    handler.wfile.write(b"%x\r\n%b\r\n" % (len(data), data))


BROKEN = (
    b'{"id":null,"line":3,"problem":{"type":"x","title":"T","status":400,'
    b'"code":"body-incomplete","detail":"D"}}\n'
)


@contextmanager
def client_of(*script: Script, retries: int = 3) -> Iterator[tuple[Client, Faulty, list[float]]]:
    """A client whose waits are noted down and not waited."""
    waits: list[float] = []
    with misbehaving(*script) as faulty, Client(faulty.url, retries=retries) as client:
        client._transport.sleep = waits.append
        client._transport.jitter = lambda: 1.0
        yield client, faulty, waits


def named(count: int) -> list[Json]:
    return [{"chart": f"c{k}"} for k in range(count)]


def result_codes(results: Iterator[PathResult]) -> list[str]:
    return [result.problem.code for result in results if result.problem is not None]


@pytest.mark.parametrize(
    "drop",
    [
        lines(3, cut),
        lines(3, cut, tail=b'{"id": "3", "line": 4, "prob'),
        lines(3, tail=b'{"id": "3", "line": 4, "prob'),
        lines(3),
        lines(3, tail=BROKEN),
        lines(0, cut),
        cut,
        answer(503, b"<html>busy"),
        answer(429),
    ],
)
def test_only_what_a_window_lacks_is_asked_again(drop: Script) -> None:
    with client_of(drop, lines()) as (client, faulty, _):
        assert result_codes(client.find_paths(named(10))) == [f"c{k}" for k in range(10)]
        assert len(faulty.seen) == 2
        assert [line["chart"]["text"] for line in lines_of(faulty.seen[-1])][-1] == "c9"
        assert len(lines_of(faulty.seen[-1])) in (7, 10)


def test_patience_begins_anew_with_every_answer() -> None:
    with client_of(lines(1, cut), retries=1) as (client, faulty, waits):
        assert result_codes(client.find_paths(named(6))) == [f"c{k}" for k in range(6)]
        assert len(faulty.seen) == 6
        assert max(waits) < 1


def test_retries_end() -> None:
    with client_of(lines(2, cut), lines(0, cut), retries=2) as (client, faulty, waits):
        results = client.find_paths(named(5))
        assert [next(results).id, next(results).id] == ["0", "1"]
        with pytest.raises((ConnectionFailed, BadAnswer), match="broke off"):
            next(results)
        assert (len(faulty.seen), len(waits)) == (3, 2)
        assert no_windows_left()


def problem(status: int, **headers: str) -> Script:
    body = {"type": "about:blank", "title": "T", "status": status, "code": "c", "detail": "D"}
    return answer(status, json.dumps(body).encode(), "application/problem+json", **headers)


@pytest.mark.parametrize(
    ("script", "kind", "count"),
    [
        (problem(415), Refused, 1),
        (problem(429, Retry_After="3"), RateLimited, 4),
        (problem(503), Unavailable, 4),
        (answer(500, b"<html>"), BadAnswer, 1),
        (lines(1, tail=told({"id": "x", "chart": {"text": "c"}}, 1)), BadAnswer, 1),
    ],
)
def test_what_is_raised(script: Script, kind: type[ShortwayClientError], count: int) -> None:
    with client_of(script) as (client, faulty, waits):
        with pytest.raises(kind):
            list(client.find_paths(named(2)))
        assert len(faulty.seen) in (count, count + 1)
        assert waits in ([3.0, 3.0, 3.0], [0.2, 0.4, 0.8], [], [0.2])


def test_a_stream_that_stalls_times_out() -> None:
    release = threading.Event()
    with misbehaving(lines(1, hanging(release))) as faulty:
        with Client(faulty.url, timeout=(2, 0.3)) as client:
            results = client.find_paths(named(3))
            assert next(results).id == "0"
            with pytest.raises(TimedOut, match="in time"):
                next(results)
        release.set()
        assert len(faulty.seen) == 1


def test_results_come_while_the_window_is_under_way() -> None:
    release = threading.Event()
    with misbehaving(lines(1, hanging(release)), lines()) as faulty, Client(faulty.url) as client:
        results = client.find_paths(named(3))
        assert next(results).id == "0"
        release.set()
        assert [result.id for result in results] == ["1", "2"]


def test_no_more_windows_at_once_than_workers() -> None:
    now, most, lock = [0], [0], threading.Lock()

    def counted(handler: Any) -> None:
        with lock:
            now[0] += 1
            most[0] = max(most[0], now[0])
        time.sleep(0.05)
        with lock:
            now[0] -= 1
        lines()(handler)

    with misbehaving(counted) as faulty, Client(faulty.url) as client:
        assert len(list(client.find_paths(named(6 * WINDOW), workers=3))) == 6 * WINDOW
    assert most[0] == 3
