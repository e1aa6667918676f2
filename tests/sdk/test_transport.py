"""The client against a server that misbehaves: timeouts, retries, answers that are none."""

from __future__ import annotations

import json
import pickle
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from shortway_client import (
    BadAnswer,
    Client,
    ConnectionFailed,
    OtherVersion,
    Problem,
    RateLimited,
    Refused,
    ShortwayClientError,
    TimedOut,
    Unavailable,
)
from shortway_client._transport import ALL_WAITS, FIRST_WAIT, LONGEST_WAIT
from support.loopback import (
    Faulty,
    Script,
    answer,
    cut,
    hanging,
    misbehaving,
    truncated,
    unused_port,
)
from support.tables import each_row

ALIVE = b'{"status": "ok"}'


def problem(status: int, code: str = "some-code", **headers: str) -> Script:
    body = {"type": "about:blank", "title": "T", "status": status, "code": code, "detail": "D"}
    return answer(status, json.dumps(body).encode(), "application/problem+json", **headers)


@contextmanager
def client_of(*script: Script, retries: int = 3) -> Iterator[tuple[Client, Faulty, list[float]]]:
    """A client whose waits are noted down and not waited."""
    waits: list[float] = []
    with misbehaving(*script) as faulty, Client(faulty.url, retries=retries) as client:
        client._transport.sleep = waits.append
        client._transport.jitter = lambda: 1.0
        yield client, faulty, waits


def test_errors_survive_pickling() -> None:
    """A pool of processes sends them back to its parent."""
    headers = {"X-Request-Id": "abc", "Retry-After": "7"}
    with (
        client_of(problem(429, **headers), retries=0) as (client, _, _),
        pytest.raises(RateLimited) as raised,
    ):
        client.get_health()
    back = pickle.loads(pickle.dumps(raised.value))
    assert (type(back), back.code, back.request_id, back.retry_after, str(back)) == (
        RateLimited, "some-code", "abc", 7.0, str(raised.value),
    )  # fmt: skip
    for error in (OtherVersion("2", "1"), BadAnswer("no JSON", status=200, excerpt="<html>")):
        again = pickle.loads(pickle.dumps(error))
        assert (type(again), str(again), vars(again)) == (type(error), str(error), vars(error))


def test_one_call_may_have_a_timeout_of_its_own() -> None:
    release = threading.Event()
    with client_of(hanging(release), answer(200, ALIVE), retries=0) as (client, _, _):
        with pytest.raises(TimedOut):
            client.with_options(timeout=0.1).get_health()
        release.set()
        assert client.get_health().status == "ok"
        assert client.with_options(retries=2)._transport.session is client._transport.session
        with pytest.raises(ValueError, match="positive"):
            client.with_options(timeout=0)


def test_the_bytes_of_any_call() -> None:
    with client_of(answer(200, ALIVE), problem(404)) as (client, _, _):
        assert client.send("GET", "/healthz") == ALIVE
        with pytest.raises(Refused):
            client.send("POST", "v1/paths", {"chart": {"text": "| C |"}})


@pytest.mark.parametrize("status", [429, 502, 503, 504])
def test_passing_trouble_is_waited_out(status: int) -> None:
    with client_of(problem(status), problem(status), answer(200, ALIVE)) as (client, seen, waits):
        assert client.get_health().status == "ok"
        assert waits == [FIRST_WAIT, 2 * FIRST_WAIT]
        assert len(seen.seen) == 3


def test_a_post_is_repeated_whole() -> None:
    good = answer(200, b'{"chords": []}')
    with client_of(problem(503), good) as (client, faulty, _):
        assert client.read_chords(["C7"]) == ()
        first, second = faulty.seen
        assert first.body == second.body == b'{"symbols": ["C7"]}'
        assert first.method == "POST"


@pytest.mark.parametrize("status", [400, 404, 422, 500, 501])
def test_what_will_not_pass_is_not_repeated(status: int) -> None:
    with client_of(problem(status)) as (client, faulty, waits):
        with pytest.raises(Problem, match=r"D \(some-code\)") as caught:
            client.get_health()
        assert caught.value.status == status
        assert isinstance(caught.value, Refused) == (status < 500)
        assert (len(faulty.seen), waits) == (1, [])


@pytest.mark.parametrize(("status", "kind"), [(429, RateLimited), (503, Unavailable)])
def test_retries_end(status: int, kind: type[Problem]) -> None:
    with client_of(problem(status, Retry_After="3"), retries=2) as (client, faulty, waits):
        with pytest.raises(kind) as caught:
            client.get_health()
        assert caught.value.retry_after == 3.0
        assert (len(faulty.seen), waits) == (3, [3.0, 3.0])


@pytest.mark.parametrize(
    ("value", "wait"),
    [
        ("7", 7.0),
        ("0", 0.0),
        ("86400", LONGEST_WAIT),
        ("Wed, 21 Oct 2015 07:28:09 GMT", 9.0),
        ("Wed, 21 Oct 2015 07:27:00 GMT", 0.0),
        ("soon", FIRST_WAIT),
        ("-5", FIRST_WAIT),
        ("١", FIRST_WAIT),
        ("Wed, 99 Oct 2015 07:28:09 GMT", FIRST_WAIT),
    ],
)
def test_retry_after_is_honoured_within_reason(value: str, wait: float) -> None:
    def limited(handler: object) -> None:
        handler.send_response_only(429)  # type: ignore[attr-defined]
        for name, text in (
            ("Date", "Wed, 21 Oct 2015 07:28:00 GMT"),
            ("Retry-After", value.encode().decode("latin-1")),
            ("Content-Length", "0"),
        ):
            handler.send_header(name, text)  # type: ignore[attr-defined]
        handler.end_headers()  # type: ignore[attr-defined]

    with client_of(limited, answer(200, ALIVE)) as (client, _, waits):
        client.get_health()
        assert waits == [wait]


def test_the_waits_of_one_call_are_bounded_in_all() -> None:
    with client_of(problem(503, Retry_After="600"), retries=50) as (client, faulty, waits):
        with pytest.raises(Unavailable):
            client.get_health()
        assert sum(waits) <= ALL_WAITS
        assert len(faulty.seen) == ALL_WAITS // LONGEST_WAIT + 1


def test_nobody_there() -> None:
    waits: list[float] = []
    with Client(f"http://127.0.0.1:{unused_port()}", retries=2) as client:
        client._transport.sleep = waits.append
        with pytest.raises(ConnectionFailed, match="refused"):
            client.get_health()
    assert len(waits) == 2


def test_a_cut_connection_is_tried_once_more() -> None:
    with client_of(cut, answer(200, ALIVE)) as (client, faulty, _):
        assert client.get_health().status == "ok"
        assert len(faulty.seen) == 2
    with client_of(cut) as (client, faulty, _):
        with pytest.raises(ConnectionFailed, match="cannot reach"):
            client.get_health()
        assert len(faulty.seen) == 2


def test_an_answer_that_breaks_off_is_asked_for_once_more() -> None:
    """As when the process that sends it is killed."""
    half = truncated(b'{"status": "o', 5)
    with client_of(half, answer(200, ALIVE)) as (client, faulty, _):
        assert client.get_health().status == "ok"
        assert len(faulty.seen) == 2
    with client_of(half) as (client, faulty, _):
        with pytest.raises(BadAnswer, match="broke off"):
            client.get_health()
        assert len(faulty.seen) == 2


def test_a_slow_answer_times_out_and_is_not_asked_for_again() -> None:
    release = threading.Event()
    with misbehaving(hanging(release)) as faulty, Client(faulty.url, timeout=(2, 0.2)) as client:
        began = time.monotonic()
        with pytest.raises(TimedOut, match="in time"):
            client.get_health()
        assert time.monotonic() - began < 5
        release.set()
        assert len(faulty.seen) == 1


@each_row(
    "script, message",
    [
        (truncated(b'{"status": "o', 5), "broke off"),
        (answer(200, b'{"status": "o'), "not JSON"),
        (answer(200, b"\xff\xfe"), "not JSON"),
        (answer(200, b"[" * 100_000), "not JSON"),
        (answer(200, b"{}"), "lacks /status"),
        (answer(200, b'{"status": 1}'), "expected a string at /status"),
        (answer(200, b"[]"), "expected an object"),
        (answer(200, ALIVE, "text/html"), "expected application/json, found text/html"),
        (answer(200, b"<html>Log in first</html>", "text/html"), "<html>Log in first</html>"),
        (answer(502, b"<html>Bad gateway", "text/html"), "status 502 without a problem"),
        (answer(302, b"", Location="/login"), "status 302"),
        (answer(422, b'{"detail": "?"}', "application/problem+json"), "lacks /title"),
    ],
)
def test_an_answer_that_is_none(script: Script, message: str) -> None:
    with client_of(script, retries=0) as (client, _, _), pytest.raises(BadAnswer, match=message):
        client.get_health()


def test_an_excerpt_is_short_and_has_the_status() -> None:
    page = b"<html>" + b"proxy   error\n" * 1000
    with client_of(answer(403, page, "text/html")) as (client, _, _):
        with pytest.raises(BadAnswer) as caught:
            client.get_health()
        assert caught.value.status == 403
        assert len(caught.value.excerpt) <= 120
        assert caught.value.excerpt.startswith("<html>proxy error proxy")


def test_a_problem_is_told_whole() -> None:
    body = {
        "type": "urn:problem-type:x",
        "title": "A title",
        "status": 422,
        "code": "symbol-unreadable",
        "detail": "no such thing as q",
        "unheard-of": {"kept": "out"},
        "errors": [
            {"pointer": "/symbol", "detail": "q", "position": 1, "expected": "7", "more": 1},
            {"pointer": "", "detail": "r"},
        ],
    }
    step = answer(422, json.dumps(body).encode(), "application/problem+json", X_Request_Id="r-1")
    with client_of(step) as (client, _, _), pytest.raises(Refused) as caught:
        client.get_health()
    error = caught.value
    assert (error.title, error.detail, error.request_id) == ("A title", body["detail"], "r-1")
    assert error.code == "symbol-unreadable"
    first, second = error.errors
    assert (first.pointer, first.position, first.expected) == ("/symbol", 1, "7")
    assert (second.position, second.expected) == (None, None)


def test_a_base_url_may_have_a_path_and_the_call_says_who_asks() -> None:
    with misbehaving(answer(200, ALIVE)) as faulty, Client(faulty.url + "/music/") as client:
        client.get_health()
        (request,) = faulty.seen
        assert request.path == "/music/healthz"
        assert request.headers["user-agent"].startswith("shortway-client/")
        assert request.headers["accept"] == "application/json"


def test_the_environment_is_not_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("http_proxy", f"http://127.0.0.1:{unused_port()}")
    with client_of(answer(200, ALIVE), retries=0) as (client, _, _):
        assert client.get_health().status == "ok"


@pytest.mark.parametrize("url", ["", "localhost:8000", "ftp://x", "http://", "http://x/?a=b"])
def test_not_a_base_url(url: str) -> None:
    with pytest.raises(ValueError, match="base URL"):
        Client(url)


@pytest.mark.parametrize("url", ["http://me:secret@{}", "http://me:secret@{}/below"])
def test_no_error_shows_a_password(url: str) -> None:
    """It is sent as Basic authentication (RFC 7617), and shown nowhere."""
    shown: list[object] = []
    for end in (f"127.0.0.1:{unused_port()}", "127.0.0.1:8000/?query", "[::1", "127.0.0.1:99999"):
        with pytest.raises((ShortwayClientError, ValueError)) as caught:
            Client(url.format(end), retries=0).get_health()
        shown += [caught.value, repr(caught.value), caught.value.__cause__]
    with client_of(answer(200, ALIVE)) as (client, faulty, _):
        asking = Client(url.format(faulty.url.removeprefix("http://")))
        assert asking.send("GET", "healthz") == ALIVE
        assert faulty.seen[0].headers["authorization"] == "Basic bWU6c2VjcmV0"
        shown += [asking._transport, asking._transport.base_url, vars(asking)]
        assert "authorization" not in (client.get_health(), faulty.seen[1].headers)[1]
    assert "secret" not in " ".join(map(str, shown))


@pytest.mark.parametrize("timeout", [0, -1, float("inf"), float("nan"), (1, 0)])
def test_a_timeout_is_always_on(timeout: float) -> None:
    with pytest.raises(ValueError, match="timeout"):
        Client(timeout=timeout)


def test_every_error_is_of_the_family() -> None:
    family = (ConnectionFailed, TimedOut, BadAnswer, Problem, Refused, RateLimited, Unavailable)
    assert all(issubclass(kind, ShortwayClientError) for kind in family)


# --- another version ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "script", [answer(200, ALIVE, API_Version="2"), problem(404, API_Version="2")]
)
def test_a_service_of_another_version_is_told(script: Script) -> None:
    with client_of(script) as (client, _, _), pytest.raises(OtherVersion, match=r"2 .* client 1"):
        client.get_health()


def test_a_batch_of_another_version_is_told() -> None:
    script = answer(200, b"{}\n", "application/jsonl", API_Version="2")
    with client_of(script) as (client, faulty, _):
        with pytest.raises(OtherVersion):
            list(client.find_paths([{"chart": "| C |"}]))
        assert len(faulty.seen) == 1


def test_the_same_version_is_taken_and_so_is_none() -> None:
    with client_of(answer(200, ALIVE, API_Version="1"), answer(200, ALIVE)) as (client, _, _):
        assert client.get_health() == client.get_health()
