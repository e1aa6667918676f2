"""``GET /metrics``: what is counted under which labels, alone and over several processes.

Source: the text format as prometheus_client's own parser reads it; its docs on several processes.
"""

from __future__ import annotations

import errno
import os
import signal
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from threading import Barrier, BrokenBarrierError

import pytest
from flask import Flask
from flask.testing import FlaskClient
from prometheus_client.parser import text_string_to_metric_families

from shortway.api import create_app
from shortway.api.openapi.openapi_document import build_document
from shortway.api.telemetry import metrics
from shortway.api.telemetry import prometheus_multiproc as metrics_files
from shortway.api.telemetry.metrics import SECONDS
from support.processes import LONG, Process, serving, until

Samples = dict[tuple[str, tuple[tuple[str, str], ...]], float]
PATH = {"chart": {"text": "| Dm7 | G7 | Cmaj7 |"}}


@pytest.fixture
def app() -> Flask:
    return create_app()


def read(text: str) -> Samples:
    """All samples by name (its prefix left out) and labels."""
    return {
        (sample.name.removeprefix("shortway_"), tuple(sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def scraped(client: FlaskClient) -> Samples:
    return read(client.get("/metrics").text)


def get(samples: Samples, name: str, **labels: str) -> float:
    return samples.get((name, tuple(sorted(labels.items()))), 0.0)


def requests(samples: Samples) -> dict[tuple[str, ...], float]:
    """Requests by call, method and status, those for the metrics left out."""
    return {
        tuple(value for _, value in labels): found
        for (name, labels), found in samples.items()
        if name == "requests_total" and ("call", "getMetrics") not in labels
    }


def test_requests_are_counted_by_call_method_and_status(client: FlaskClient) -> None:
    for asked in ("/healthz", "/healthz", "/v1/chords?symbol=C7", "/v1/chords?symbol=Y", "/docs"):
        client.get(asked).get_data()
    client.post("/v1/paths", json=PATH).get_data()
    client.put("/v1/paths", json=PATH).get_data()
    assert requests(scraped(client)) == {
        ("getHealth", "GET", "200"): 2,
        ("getChord", "GET", "200"): 1,
        ("getChord", "GET", "422"): 1,
        ("page", "GET", "200"): 1,
        ("findPath", "POST", "200"): 1,
        ("none", "PUT", "405"): 1,
    }


def test_no_address_and_no_word_of_a_client_becomes_a_label(client: FlaskClient) -> None:
    for k in range(20):
        client.get(f"/nothing/{k}?x={k}").get_data()
        client.get(f"/page/{k}.js").get_data()
        client.open("/healthz", method=f"VERB{k}").get_data()
    assert requests(scraped(client)) == {
        ("none", "GET", "404"): 20,
        ("page", "GET", "404"): 20,
        ("none", "other", "405"): 20,
    }


def test_an_address_too_long_is_counted_where_it_led(client: FlaskClient) -> None:
    client.get("/v1/chords?symbol=" + "C" * 70_000).get_data()
    assert requests(scraped(client)) == {("getChord", "GET", "414"): 1}


def test_what_the_document_asks_for_its_examples_is_not_counted(client: FlaskClient) -> None:
    build_document(client.application)
    assert requests(scraped(client)) == {}


def test_times_are_in_classes_and_phases_in_their_whole(client: FlaskClient) -> None:
    client.post("/v1/paths", json=PATH).get_data()
    found = scraped(client)
    ends = [float(dict(labels)["le"]) for name, labels in found if name == "request_seconds_bucket"]
    assert sorted(set(ends)) == [*SECONDS, float("inf")]
    assert get(found, "request_seconds_count", call="findPath") == 1
    whole = get(found, "request_seconds_sum", call="findPath")
    phases = {p: get(found, "phase_seconds_sum", phase=p) for p in ("parse", "search", "rendering")}
    assert all(phases.values())
    assert sum(phases.values()) < whole


def test_problems_are_counted_by_code(client: FlaskClient) -> None:
    client.post("/v1/paths", data=b"{", content_type="application/json").get_data()
    client.post("/v1/paths", json={"chart": {"text": "| Xm |"}}).get_data()
    client.post("/v1/paths", json={}).get_data()
    found = scraped(client)
    codes = {labels[0][1]: count for (name, labels), count in found.items() if "problems" in name}
    assert codes == {"not-json": 1, "symbol-unreadable": 1, "missing-field": 1}


def test_lines_of_a_batch_are_counted_by_outcome(client: FlaskClient) -> None:
    lines = b"".join(
        b'{"id":"%s","chart":{"text":"| %s |"}}\n' % line
        for line in ((b"a", b"C7"), (b"b", b"Y"), (b"c", b"F"))
    ).replace(b'{"id":"c"', b'\n{"id":"c"')
    client.post("/v1/batches", data=lines, content_type="application/jsonl").get_data()
    found = scraped(client)
    outcomes = ("solved", "refused", "failed")
    assert [get(found, "batch_lines_total", outcome=o) for o in outcomes] == [2, 1, 0]


def test_answers_that_are_kept_are_hits(client: FlaskClient) -> None:
    for _ in range(3):
        client.post("/v1/paths", json=PATH).get_data()
    found = scraped(client)
    assert get(found, "cache_hits_total", cache="answers") == 2
    assert get(found, "cache_misses_total", cache="answers") == 1
    assert get(found, "cache_entries", cache="answers") >= 1
    assert get(found, "cache_bytes", cache="answers") < get(
        found, "cache_budget_bytes", cache="answers"
    )


def test_two_who_look_at_once_count_what_is_new_once(
    app: Flask, monkeypatch: pytest.MonkeyPatch
) -> None:
    counted: list[float] = []
    both = Barrier(2)

    class Slow:
        def inc(self, more: float) -> None:
            counted.append(more)
            with suppress(BrokenBarrierError):
                both.wait(0.2)

    found = app.extensions[metrics.EXTENSION]
    monkeypatch.setattr(metrics, "_external_counts", lambda: [("hits", ("ours",), 1000.0)])
    monkeypatch.setattr(found, "hits", lambda _: Slow())
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(lambda _: found.refresh(), range(2)))
    assert sorted(counted) == [0, 1000]


def test_nobody_keeps_the_metrics_and_a_query_is_refused(client: FlaskClient) -> None:
    response = client.get("/metrics")
    assert response.headers["Cache-Control"] == "no-store"
    assert response.headers["Content-Type"] == "text/plain; version=0.0.4; charset=utf-8"
    assert client.get("/metrics?name[]=x").json["code"] == "unknown-field"


# --- several processes ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def service() -> Iterator[Process]:
    with serving(workers=2) as process:
        yield process


def over_all(service: Process) -> Samples:
    return read(service.ask("/metrics")[1].decode())


def spread(service: Process, path: str, times: int) -> None:
    """Ask on as many connections as there are times, so that every worker has a share."""
    for _ in range(times):
        assert service.ask(path)[0] in (200, 404)


def test_two_workers_count_together_exactly_what_was_asked(service: Process) -> None:
    before = requests(over_all(service))
    spread(service, "/v1/families", 30)
    spread(service, "/v1/none", 7)
    now = until(lambda: _grown(before, requests(over_all(service)), 37), "37 requests counted")
    assert now == {("listFamilies", "GET", "200"): 30, ("none", "GET", "404"): 7}
    until(lambda: get(over_all(service), "workers") == 2, "both workers")
    until(lambda: get(over_all(service), "requests_in_flight") == 1)


def _grown(
    before: dict[tuple[str, ...], float], after: dict[tuple[str, ...], float], total: float
) -> dict[tuple[str, ...], float] | None:
    """What was counted since, once it is as much as `total`."""
    more = {key: now - before.get(key, 0) for key, now in after.items()}
    more = {key: count for key, count in more.items() if count}
    return more if sum(more.values()) >= total else None


def test_a_killed_worker_takes_no_count_with_it_and_leaves_no_file(service: Process) -> None:
    spread(service, "/v1/rhythms", 20)
    key = ("listRhythms", "GET", "200")
    until(lambda: requests(over_all(service)).get(key) == 20)
    killed = service.workers()
    os.kill(killed[0], signal.SIGKILL)
    until(lambda: killed[0] not in service.workers() and len(service.workers()) == 2)
    until(lambda: get(over_all(service), "workers") == 2)
    assert requests(over_all(service))[key] == 20
    assert not [file for file in _files(service) if str(killed[0]) in file.name]


def _files(service: Process) -> list[Path]:
    directory = _directory(service)
    return [*directory.iterdir()]


def _directory(service: Process) -> Path:
    places = (Path("/dev/shm"), Path(os.environ.get("TMPDIR", "/tmp")))
    return next(p for place in places if (p := place / f"shortway-metrics-{service.pid}").exists())


@pytest.mark.slow
def test_the_files_are_the_services_own_and_go_with_it() -> None:
    with serving() as process:
        directory = _directory(process)
        assert directory.stat().st_mode & 0o077 == 0
        assert process.stop() == 0
        assert not directory.exists()


@pytest.mark.slow
def test_the_tables_that_all_share_are_there_before_the_first_request() -> None:
    with serving() as process:
        found = over_all(process)
        assert get(found, "cache_entries", cache="candidates") > 10
        assert get(found, "cache_misses_total", cache="candidates") == 0


@pytest.mark.slow
def test_what_a_killed_service_left_goes_when_the_next_begins(service: Process) -> None:
    with serving() as killed:
        left = _directory(killed)
        for pid in (killed.pid, *killed.workers()):
            os.kill(pid, signal.SIGKILL)
        killed.popen.wait(LONG)
        assert left.exists()
    with serving():
        assert not left.exists()
        assert _directory(service).exists()


def test_a_process_without_room_for_its_counts_does_without_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def no_room(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    app = create_app()
    counts = app.extensions[metrics.EXTENSION]
    counts.directory = tmp_path
    monkeypatch.setattr(metrics, "reserve_files", no_room)
    counts.start()
    assert "this process has no metrics: [Errno 28] No space left" in caplog.text
    for name in ("in_flight", "requests", "memory"):
        monkeypatch.setattr(counts, name, None)  # what is touched now would fail
    assert app.test_client().get("/healthz").status_code == 200
    assert "could not be reported" not in caplog.text


def test_reserved_files_have_their_room_or_are_not_there(tmp_path: Path) -> None:
    metrics_files.reserve_files(tmp_path, 7)
    names = {"counter_7.db", "histogram_7.db", "gauge_livesum_7.db"}
    assert {file.name for file in tmp_path.iterdir()} == names
    assert all(file.stat().st_blocks * 512 >= 1 << 19 for file in tmp_path.iterdir())


@pytest.mark.slow
def test_a_directory_that_is_somebody_elses_is_not_used(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with pytest.raises(PermissionError, match="belongs to another user"):
        metrics_files.prepare_directory(tmp_path / "link")
