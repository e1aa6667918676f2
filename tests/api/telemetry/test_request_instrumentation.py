"""Requests followed: who is told, once, whatever happens; and that telling costs no answer.

Source: PEP 3333, which lets a server close an answer before its end. The rest is our own.
"""

from __future__ import annotations

import gc
import logging
import weakref
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask, Response
from werkzeug.test import create_environ, run_wsgi_app

from shortway.api.app import create_app
from shortway.api.telemetry.request_instrumentation import Observer, RequestRecord, instrument
from shortway.request_trace import (
    MOST_INTERVALS,
    RENDERING,
    SEARCH,
    RequestState,
    current_request,
    internal_requests,
    phase,
    set_request,
    update_request,
)


@pytest.fixture
def told() -> list[RequestRecord]:
    return []


@pytest.fixture
def app(told: list[RequestRecord]) -> Flask:
    app = Flask("watched")
    instrument(app, [Observer(told.append)])

    @app.get("/pieces/<int:count>")
    def pieces(count: int) -> Response:
        def made() -> Iterator[bytes]:
            for _ in range(count):
                with phase(RENDERING):
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
    assert (seen.status, seen.sent, seen.is_complete) == (200, 15, True)
    assert (seen.state.operation, seen.state.route, seen.method) == (
        "pieces",
        "/pieces/<int:count>",
        "GET",
    )
    assert 0 < seen.state.trace.spent["rendering"] <= seen.seconds
    answer.close()
    assert told == [seen]


def test_an_answer_that_breaks_off_is_told_as_such(app: Flask, told: list[RequestRecord]) -> None:
    answer = app.wsgi_app(create_environ("/pieces/3"), start)
    assert next(iter(answer)) == b"12345"
    answer.close()
    assert [(seen.sent, seen.is_complete) for seen in told] == [(5, False)]


def test_what_the_service_asks_itself_is_nobodys(app: Flask, told: list[RequestRecord]) -> None:
    set_request(None)
    with internal_requests():
        assert list(app.wsgi_app(create_environ("/pieces/1"), start))
        outer = current_request()
        assert outer is not None
        assert (outer.is_internal, outer.route) == (True, None)
    assert told == []
    assert current_request() is None


def test_a_state_is_filled_in_while_its_request_is_under_way() -> None:
    state = RequestState("a")
    set_request(state)
    update_request(client="phone-app")
    assert current_request() is state
    set_request(None)
    update_request(client="nobody")
    assert (state.client, state.request_id) == ("phone-app", "a")
    assert current_request() is None


def test_a_server_that_fails_is_told_of(told: list[RequestRecord]) -> None:
    app = Flask("failing")
    app.wsgi_app = lambda environ, start: 1 / 0
    instrument(app, [Observer(told.append)])
    with pytest.raises(ZeroDivisionError):
        app.wsgi_app(create_environ("/"), start)
    assert [(seen.status, seen.is_complete) for seen in told] == [(0, False)]


def test_an_observer_that_fails_costs_no_answer(
    told: list[RequestRecord], caplog: pytest.LogCaptureFixture
) -> None:
    def fail(seen: RequestRecord) -> None:
        raise OSError("no space left")

    app = Flask("watched")
    instrument(app, [Observer(fail), Observer(told.append)])
    with caplog.at_level(logging.ERROR):
        assert list(app.wsgi_app(create_environ("/nothing"), start))
    assert len(told) == 1
    assert "could not be reported" in caplog.text


def test_long_batches_keep_their_sums_and_not_every_interval() -> None:
    state = RequestState("long")
    set_request(state)
    for _ in range(2 * MOST_INTERVALS):
        with phase(SEARCH):
            pass
    set_request(None)
    trace = state.trace
    assert len(trace.intervals) == MOST_INTERVALS
    assert trace.spent["search"] > sum(end - begin for _, begin, end in trace.intervals)


class _Marked:
    """Something of a request that a weak reference can follow."""


def test_a_rejected_request_is_freed_without_the_collector() -> None:
    """Its exception's frames hold the exception, a cycle that may outlive many collections."""
    app = create_app()
    for path, more in (("/none", {}), ("/v1/paths", {"HTTP_TRANSFER_ENCODING": "chunked"})):
        mark = _Marked()
        environ = create_environ(path, method="POST") | more | {"mark": mark}
        followed = weakref.ref(mark)
        gc.disable()
        try:
            run_wsgi_app(app, environ)
            environ.clear()
            del mark
            assert followed() is None, path
        finally:
            gc.enable()
