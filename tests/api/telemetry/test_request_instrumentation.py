"""Requests followed: who is told, once, whatever happens; and that telling costs no answer.

Source: PEP 3333, which lets a server close an answer before its end. The rest is our own.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask, Response
from werkzeug.test import create_environ

from shortway import request_trace as timing
from shortway.api.telemetry import request_instrumentation as watching
from shortway.api.telemetry.request_instrumentation import Observer, RequestRecord


@pytest.fixture
def told() -> list[RequestRecord]:
    return []


@pytest.fixture
def app(told: list[RequestRecord]) -> Flask:
    app = Flask("watched")
    watching.instrument(app, [Observer(told.append)])

    @app.get("/pieces/<int:count>")
    def pieces(count: int) -> Response:
        def made() -> Iterator[bytes]:
            for _ in range(count):
                with timing.phase(timing.RENDERING):
                    yield b"12345"

        return Response(made())

    return app


def start(status: str, headers: Any, error: Any = None) -> None:
    """A server's start_response that keeps nothing."""


def test_an_answer_is_told_at_its_end_with_what_was_sent(
    app: Flask, told: list[RequestRecord]
) -> None:
    answer = app.wsgi_app(create_environ("/pieces/3"), start)
    assert told == []
    assert list(answer) == [b"12345"] * 3
    [seen] = told
    assert (seen.status, seen.sent, seen.whole) == (200, 15, True)
    assert (seen.call, seen.template, seen.method) == ("pieces", "/pieces/<int:count>", "GET")
    assert 0 < seen.course.spent["rendering"] <= seen.seconds
    answer.close()
    assert told == [seen]


def test_an_answer_that_breaks_off_is_told_as_such(app: Flask, told: list[RequestRecord]) -> None:
    answer = app.wsgi_app(create_environ("/pieces/3"), start)
    assert next(iter(answer)) == b"12345"
    answer.close()
    assert [(seen.sent, seen.whole) for seen in told] == [(5, False)]


def test_what_the_service_asks_itself_is_nobodys(app: Flask, told: list[RequestRecord]) -> None:
    assert list(app.wsgi_app(create_environ("/") | {watching.INSIDE: True}, start))
    assert told == []


def test_a_server_that_fails_is_told_of(told: list[RequestRecord]) -> None:
    app = Flask("failing")
    app.wsgi_app = lambda environ, start: 1 / 0
    watching.instrument(app, [Observer(told.append)])
    with pytest.raises(ZeroDivisionError):
        app.wsgi_app(create_environ("/"), start)
    assert [(seen.status, seen.whole) for seen in told] == [(0, False)]


def test_an_observer_that_fails_costs_no_answer(
    told: list[RequestRecord], caplog: pytest.LogCaptureFixture
) -> None:
    def fail(seen: RequestRecord) -> None:
        raise OSError("no space left")

    app = Flask("watched")
    watching.instrument(app, [Observer(fail), Observer(told.append)])
    with caplog.at_level(logging.ERROR):
        assert list(app.wsgi_app(create_environ("/nothing"), start))
    assert len(told) == 1
    assert "could not be told" in caplog.text


def test_long_batches_keep_their_sums_and_not_every_interval() -> None:
    course = timing.begin()
    for _ in range(2 * timing.MOST_INTERVALS):
        with timing.phase(timing.SEARCH):
            pass
    timing.end()
    assert len(course.intervals) == timing.MOST_INTERVALS
    assert course.spent["search"] > sum(end - begin for _, begin, end in course.intervals)
