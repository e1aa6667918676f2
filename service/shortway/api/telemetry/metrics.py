"""``GET /metrics``: Prometheus metrics of all processes of the service.

Knows prometheus_client, which is imported when an app is made: with several processes it has to
find PROMETHEUS_MULTIPROC_DIR, which gunicorn's settings set, in the environment. Each process then
counts into files of its own there, and the one that is scraped adds them up. Labels have few
values, whatever the requests are: no URL, symbol or id is one.
"""

from __future__ import annotations

import logging
import os
import resource
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from threading import Lock
from time import monotonic
from typing import Any, Final

from flask import Flask, Response, current_app

from shortway import __version__
from shortway.api.http.request_body import reject_query
from shortway.api.http.responses import API_VERSION, with_no_store
from shortway.api.middleware.rate_limit import redis_failures
from shortway.api.telemetry.prometheus_multiproc import locked, prepare_directory, reserve_files
from shortway.api.telemetry.request_instrumentation import Observer, RequestRecord
from shortway.batch import chunks
from shortway.core.cache import CacheReport, cache_reports
from shortway.request_trace import update_request

DIRECTORY: Final = "PROMETHEUS_MULTIPROC_DIR"
ADDRESS: Final = "/metrics"
EXTENSION: Final = "shortway-metrics"
#: Upper bounds of the histograms' buckets, in seconds.
SECONDS: Final = (
    0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0,
)  # fmt: skip
#: Seconds between two readings of a process's caches and memory.
_REFRESH_EVERY: Final = 1.0
_ADDED: Final = ("budget", "bytes", "entries", "hits", "misses")

_log = logging.getLogger("shortway.api")


class Metrics:
    """The metrics of one application in one process.

    They are in `registry`, or in the files of `directory` beside those of other processes.
    """

    def __init__(self, directory: Path | None) -> None:
        import prometheus_client as p

        p.disable_created_metrics()  # type: ignore[no-untyped-call]
        self.directory = directory
        self.registry = p.CollectorRegistry()
        count = self._maker(p.Counter)
        seconds = self._maker(p.Histogram, buckets=SECONDS)
        held = self._maker(p.Gauge, multiprocess_mode="livesum")
        self.requests = count("requests", "Responses sent", "call", "method", "status")
        self.seconds = seconds(
            "request_seconds", "Time from the request's head to the response's last byte", "call"
        )
        self.in_flight = held("requests_in_flight", "Requests under way")()
        self.phases = seconds("phase_seconds", "Time of a request in one phase", "phase")
        self.problems = count("problems", "Problems, by code", "code")
        self.lines = count("batch_lines", "Lines of batches, by outcome", "outcome")
        self.hits = count("cache_hits", "Cache hits", "cache")
        self.misses = count("cache_misses", "Cache misses", "cache")
        self.bytes = held("cache_bytes", "Bytes in a cache", "cache")
        self.entries = held("cache_entries", "Entries in a cache", "cache")
        self.budget = held("cache_budget_bytes", "Limit of a cache in bytes", "cache")
        self.workers = held("workers", "Worker processes")()
        self.memory = held("resident_bytes", "Resident memory of the worker processes")()
        self.redis_failures = count("redis_failures", "Commands that Redis did not answer in time")
        self.cpu = count("cpu_seconds", "Processor time of the worker processes")
        self._is_counting = True
        self._refreshed_at = 0.0
        self._refreshing = Lock()
        self._reported: dict[tuple[str, tuple[str, ...]], float] = {}
        if directory is None:
            self.start()

    def _maker(self, kind: Any, **options: Any) -> Callable[..., Callable[..., Any]]:
        """A function that makes metrics of a kind; each returns its child for label values."""

        def make(name: str, about: str, *labels: str) -> Callable[..., Any]:
            metric = kind(f"shortway_{name}", about, labels, registry=self.registry, **options)
            return cache(metric.labels) if labels else lambda: metric

        return make

    def request_started(self) -> None:
        """Count a request that begins."""
        if self._is_counting:
            self.in_flight.inc()

    def request_finished(self, record: RequestRecord) -> None:
        """Count a request whose response has been sent."""
        if not self._is_counting:
            return
        state = record.state
        self.in_flight.dec()
        self.requests(state.operation, record.method, str(record.status)).inc()
        self.seconds(state.operation).observe(record.seconds)
        for name, spent in state.trace.spent.items():
            self.phases(name).observe(spent)
        if state.problem:
            self.problems(state.problem).inc()
        self.refresh_if_due()

    def line_answered(self, outcome: str) -> None:
        """Count a line of a batch."""
        if self._is_counting:
            self.lines(outcome).inc()

    def start(self) -> None:
        """Count in this process from now on: what its caches did before does not count.

        Where there is no room for its counts, it does without them.
        """
        if self.directory is not None:
            try:
                reserve_files(self.directory, os.getpid())
            except OSError as error:
                self._is_counting = False
                _log.warning("this process has no metrics: %s", error)
                return
        self._reported = {(counter, label): now for counter, label, now in _external_counts()}
        self.workers.set(1)
        self.refresh()

    def refresh_if_due(self) -> None:
        """`refresh`, unless it was a moment ago."""
        if monotonic() - self._refreshed_at > _REFRESH_EVERY:
            self.refresh()

    def refresh(self) -> None:
        """Update the metrics that are read and not counted: caches, memory, processor time."""
        if not self._is_counting:
            return
        self._refreshed_at = monotonic()
        for name, report in _caches().items():
            self.bytes(name).set(report.bytes)
            self.entries(name).set(report.entries)
            self.budget(name).set(report.budget)
        with self._refreshing:  # two at once would count the same twice
            for counter, labels, now in _external_counts():
                more = now - self._reported.get((counter, labels), 0)
                getattr(self, counter)(*labels).inc(max(0, more))
                self._reported[counter, labels] = now
        self.memory.set(resident_bytes())

    def exposition(self) -> bytes:
        """All processes' metrics in Prometheus's text format."""
        from prometheus_client import CollectorRegistry, generate_latest, multiprocess

        self.refresh()
        if self.directory is None:
            return generate_latest(self.registry) + generate_latest(_about())
        found = CollectorRegistry()
        multiprocess.MultiProcessCollector(found, str(self.directory))  # type: ignore[no-untyped-call]
        with locked(self.directory):
            return generate_latest(found) + generate_latest(_about())


def _caches() -> dict[str, CacheReport]:
    """The caches' reports, those of one name added up."""
    found: dict[str, CacheReport] = {}
    for report in cache_reports():
        before = found.get(report.name)
        found[report.name] = report if before is None else _added(before, report)
    return found


def _added(one: CacheReport, other: CacheReport) -> CacheReport:
    added = {name: getattr(one, name) + getattr(other, name) for name in _ADDED}
    return replace(one, **added)


def _external_counts() -> Iterator[tuple[str, tuple[str, ...], float]]:
    """Totals that others count: the counter's attribute here, its labels, the total."""
    for name, report in _caches().items():
        yield "hits", (name,), report.hits
        yield "misses", (name,), report.misses
    yield "redis_failures", (), redis_failures()
    used = resource.getrusage(resource.RUSAGE_SELF)
    yield "cpu", (), used.ru_utime + used.ru_stime


def _about() -> Any:
    """The metric of the running version."""
    from prometheus_client import CollectorRegistry, Info

    registry = CollectorRegistry()
    build = Info("shortway_build", "The running version", registry=registry)
    build.info({"version": __version__, "api_version": API_VERSION})
    return registry


def resident_bytes() -> int:
    """Resident bytes of this process; 0 where there is no /proc."""
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
    except OSError:
        return 0
    return pages * resource.getpagesize()


def count_lines(lines: Iterable[bytes]) -> Iterator[bytes]:
    """The lines of a batch's response, each counted by its outcome as it is sent."""
    metrics: Metrics = current_app.extensions[EXTENSION]
    return _counted(lines, metrics)


def _counted(lines: Iterable[bytes], metrics: Metrics) -> Iterator[bytes]:
    counts = chunks.Counts()
    for line in lines:
        this = chunks.count_line(line)
        counts += this
        update_request(batch=counts)
        outcome = "solved" if this.solved else "refused" if this.refused else "failed"
        metrics.line_answered(outcome)
        yield line


def init_metrics(app: Flask) -> Observer:
    """Give `app` its metrics and their URL; returns the observer that counts its requests."""
    metrics = Metrics(_prepared_directory())
    app.extensions[EXTENSION] = metrics
    app.add_url_rule(ADDRESS, "getMetrics", lambda: _response(metrics))
    return Observer(metrics.request_finished, metrics.request_started)


def _prepared_directory() -> Path | None:
    """The directory of all processes' counts; None where each process counts by itself."""
    if DIRECTORY not in os.environ:
        return None
    directory = Path(os.environ[DIRECTORY])
    try:
        prepare_directory(directory)
    except OSError as error:
        del os.environ[DIRECTORY]  # before prometheus_client is imported, which looks for it
        _log.warning("each process has metrics of its own: %s", error)
        return None
    return directory


def _response(metrics: Metrics) -> Response:
    reject_query()
    kind = "text/plain; version=0.0.4; charset=utf-8"
    return with_no_store(Response(metrics.exposition(), content_type=kind))
