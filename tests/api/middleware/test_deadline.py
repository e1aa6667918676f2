"""Deadlines: work that takes too long is stopped, says so, and leaves nothing half done.

No source but RFC 9110, 15.6.4 (503, Retry-After): the bounds are our own.
"""

from __future__ import annotations

import json
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

import pytest
from flask import Flask

from shortway.api import create_app
from shortway.api.openapi.openapi_document import build_document
from shortway.batch import lines
from shortway.core import cache
from shortway.core import cancellation as effort
from shortway.core.cancellation import Cancelled
from shortway.core.exercises.exercise import exercise
from shortway.services import read_chart as sheets
from shortway.services import write_score as scores
from shortway.services.review import review_playing
from shortway.services.solve_path import solve_path
from shortway.wire.serializers import exercises as wire_exercises
from shortway.wire.serializers import reviews as wire_reviews
from shortway.wire.serializers.charts import chart_json
from shortway.wire.serializers.paths import path_json
from shortway_client import Client, Unavailable
from support import sheets as written
from support.processes import Process, serving
from support.tables import each_row

ANY = {"families": ["any-playable"], "notes": 5}
ROOTS = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"]
KINDS = ["m7", "7", "maj7", "m7b5", "7b9", "6", "13", "9", "m9", "7alt"]


def chart(measures: int, seed: int = 0) -> dict[str, str]:
    random = Random(seed)
    words = (random.choice(ROOTS) + random.choice(KINDS) for _ in range(measures))
    return {"text": f"| {' | '.join(words)} |"}


def sheet(measures: int) -> str:
    bar = "".join(written.harmony("D", "minor-seventh") + written.note("F4", 2) * 4 for _ in "ab")
    return written.score(written.measures(*[bar] * measures))


#: Seconds of work each, and short to ask: loops over thousands of candidates a step.
HEAVY = [
    {"chart": chart(300, 5), "setting": ANY, "loop": True, "alternatives": 50},
    {"chart": chart(60, 7), "setting": {**ANY, "notes": 6}, "loop": True, "alternatives": 2},
]


# --- what is stopped, and what it leaves ----------------------------------------------------------


def path(**request: Any) -> Callable[[], Any]:
    return lambda: path_json(solve_path(request))


def scored(kind: str, **request: Any) -> Callable[[], Any]:
    return lambda: scores.write_score(request, kind)


def review() -> Any:
    played = [["F3", "A3", "C4", "E4"]] * 40
    return wire_reviews.review_json(
        review_playing({"chart": chart(40), "played": played}).review, None
    )


def keys() -> Any:
    given = sheets.read_chart("| Dm7 | G7 | Cmaj7 | % |").chart
    return wire_exercises.exercise_json(exercise(given, "fourths"))


WORK: dict[str, Callable[[], Any]] = {
    "path": path(chart=chart(40)),
    "loop": path(chart=chart(40), loop=True, alternatives=3),
    "apart": path(chart=chart(12), alternatives=3, differs_in=3),
    "wide": path(chart=chart(6), setting=ANY, alternatives=2),
    "sizes": path(chart=chart(8), setting={"notes_vary": True}),
    "melody": path(chart={"measures": [[{"symbol": "Cm7", "melody": ["F5"]}]] * 12}),
    "review": review,
    "keys": keys,
    "sheet": lambda: chart_json(sheets.read_chart({"musicxml": sheet(30)}).chart),
    "score": scored("musicxml", chart={"musicxml": sheet(30)}),
    "midi": scored("midi", chart=chart(40)),
    "staff": scored("svg", chart=chart(8), show={"picture": "staff"}),
    "keyboards": scored("svg", chart=chart(20), show={"picture": "keyboards"}),
    "lines": scored("svg", chart=chart(20), show={"picture": "lines"}),
}


def forget() -> None:
    for one in cache._CACHES:
        one.clear()


class Turns:
    """Counts how often it is told of effort, and stops the work at turn `last`."""

    def __init__(self, last: int | None = None) -> None:
        self.count = 0
        self.last = last

    def __call__(self) -> None:
        self.count += 1
        if self.count == self.last:
            raise Cancelled


@pytest.mark.slow
@each_row("name", WORK)
def test_work_stopped_anywhere_leaves_nothing_half_done(name: str) -> None:
    """Five places from the first to the last; afterwards the answer is what it always was."""
    work = WORK[name]
    work()
    forget()
    with effort.cancel_scope(turns := Turns()):
        whole = work()
    assert turns.count >= 12
    for place in range(5):
        forget()
        with (
            effort.cancel_scope(Turns(1 + place * (turns.count - 1) // 4)),
            pytest.raises(Cancelled),
        ):
            work()
        assert work() == whole


def test_one_that_is_stopped_stops_nobody_else() -> None:
    """Threads that miss the same tables at once: the odd ones are stopped at different places."""
    work = WORK["wide"]
    whole, together = work(), threading.Barrier(8)

    def asked(number: int) -> Any:
        together.wait()
        if number % 2 == 0:
            return work()
        with effort.cancel_scope(Turns(1 + number // 2)), pytest.raises(Cancelled):
            work()
        return whole

    for _ in range(3):
        forget()
        with ThreadPoolExecutor(8) as pool:
            assert all(found == whole for found in pool.map(asked, range(8)))


@pytest.mark.slow
@pytest.mark.parametrize("request_", HEAVY)
def test_heavy_work_tells_of_itself_often(request_: Any) -> None:
    """Processor time between two signs of life; measured: a tenth of this, staves apart."""
    told = [time.thread_time()]

    def watch() -> None:
        told.append(time.thread_time())
        if told[-1] - told[0] > 3:
            raise Cancelled

    with effort.cancel_scope(watch), pytest.raises(Cancelled):
        solve_path(request_)
    gaps = [after - before for before, after in pairwise(told)]
    assert max(gaps) < 1


def test_a_watch_ends_with_its_block() -> None:
    with effort.cancel_scope(Turns(1)):
        with effort.cancel_scope(None):
            effort.checkpoint()
        with pytest.raises(Cancelled):
            effort.checkpoint()
    effort.checkpoint()


def test_a_line_that_was_stopped_is_not_remembered() -> None:
    line = json.dumps({"id": "a", "chart": chart(9, 31)}).encode()
    forget()
    with effort.cancel_scope(Turns(40)):
        stopped = json.loads(lines.answer_line(line, 1))
    assert (stopped["id"], stopped["problem"]["code"]) == ("a", "out-of-time")
    assert json.loads(lines.answer_line(line, 1))["path"]


# --- over HTTP ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def service() -> Iterator[Process]:
    with serving(DEADLINE_SECONDS="1") as found:
        yield found


def url(service: Process) -> str:
    return f"http://127.0.0.1:{service.port}"


def processor_seconds(service: Process) -> float:
    """Seconds of processor that its workers have used."""
    stats = (Path(f"/proc/{pid}/stat").read_text() for pid in service.workers())
    fields = (stat.rpartition(")")[2].split() for stat in stats)
    return sum(int(of[11]) + int(of[12]) for of in fields) / os.sysconf("SC_CLK_TCK")


@pytest.mark.slow
@pytest.mark.parametrize("request_", HEAVY)
def test_a_heavy_request_is_answered_and_its_work_ends(service: Process, request_: Any) -> None:
    with Client(url(service), retries=3) as client:
        begun = time.monotonic()
        with pytest.raises(Unavailable) as caught:
            client.find_path(**request_)
        assert time.monotonic() - begun < 6  # once, and not four times
    assert (caught.value.status, caught.value.code) == (503, "out-of-time")
    assert caught.value.retry_after == 1
    assert "fewer alternatives" in caught.value.detail
    used = processor_seconds(service)
    time.sleep(1)
    assert processor_seconds(service) - used < 0.2


def test_others_are_served_meanwhile(service: Process) -> None:
    with ThreadPoolExecutor(2) as pool, Client(url(service)) as client:
        heavy = [pool.submit(_refusal, url(service), request) for request in HEAVY]
        waits = []
        while not all(one.done() for one in heavy):
            begun = time.monotonic()
            assert client.get_chord("C7").root == "C"
            waits.append(time.monotonic() - begun)
    assert [one.result() for one in heavy] == ["out-of-time"] * 2
    assert len(waits) > 5
    assert sorted(waits)[len(waits) // 2] < 0.5


def _refusal(url: str, request: Any) -> str:
    with Client(url) as client, pytest.raises(Unavailable) as caught:
        client.find_path(**request)
    return caught.value.code


def test_each_line_of_a_batch_has_its_own_time(service: Process) -> None:
    light = [{"chart": chart(8, seed)} for seed in range(2)]
    with Client(url(service)) as client:
        given = [light[0], HEAVY[0], light[1], HEAVY[1]]
        found = list(client.find_paths(given, workers=1))
    assert [one.problem.code if one.problem else "path" for one in found] == [
        "path", "out-of-time", "path", "out-of-time",
    ]  # fmt: skip


def test_the_time_of_a_slow_line_is_not_counted(service: Process) -> None:
    body = json.dumps({"chart": {"text": "| Dm7 | G7 |"}}).encode()
    head = b"POST /v1/paths HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
    with socket.create_connection(("127.0.0.1", service.port), 20) as connection:
        connection.sendall(head + b"Content-Length: %d\r\n\r\n" % len(body) + body[:5])
        time.sleep(1.5)
        connection.sendall(body[5:])
        assert b" 200 OK" in connection.recv(200)


@pytest.mark.slow
def test_the_document_is_made_whatever_the_deadline() -> None:
    app: Flask = create_app()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("shortway.api.middleware.deadline.Deadline", lambda _: Turns(1))
        client = app.test_client()
        assert (
            "examples"
            in build_document(app)["paths"]["/v1/paths"]["post"]["requestBody"]["content"][
                "application/json"
            ]
        )
        refused = client.post("/v1/paths", json={"chart": chart(3, 77)})
    assert (refused.status_code, refused.get_json()["code"]) == (503, "out-of-time")
    assert refused.headers["Retry-After"] == "30"
    assert client.post("/v1/paths", json={"chart": chart(3, 77)}).status_code == 200
