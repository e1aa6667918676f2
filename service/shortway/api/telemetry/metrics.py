"""``GET /metrics``: what this service has done, for Prometheus, over all its processes.

Knows prometheus_client, which is loaded when an app is made: under several processes it has to
find PROMETHEUS_MULTIPROC_DIR, which gunicorn's settings name, in the environment. Each process
then counts into a file of its own there, and whichever is asked adds them up. Labels take few
values, whatever is asked: no address, symbol or id is one.
"""

from __future__ import annotations

import os
import resource
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from threading import Lock
from time import monotonic
from typing import TYPE_CHECKING, Any, Final

from flask import Flask, Response, current_app

from shortway import __version__
from shortway.api.http.request_body import reject_query
from shortway.api.http.responses import API_VERSION, with_no_store
from shortway.api.telemetry import prometheus_multiproc as metrics_files
from shortway.api.telemetry.request_instrumentation import Environ, Observer, RequestRecord
from shortway.batch import chunks
from shortway.core.cache import CacheReport, cache_reports
from shortway.request_trace import note

if TYPE_CHECKING:
    from prometheus_client.core import GaugeMetricFamily

DIRECTORY: Final = "PROMETHEUS_MULTIPROC_DIR"
ADDRESS: Final = "/metrics"
EXTENSION: Final = "shortway-metrics"
#: Upper ends of the histograms' classes, in seconds.
SECONDS: Final = (
    0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0,
)  # fmt: skip
#: Seconds between two looks at the caches and the memory of a process.
_LOOK_EVERY: Final = 1.0
_ADDED: Final = ("budget", "bytes", "entries", "hits", "misses")


class Metrics:
    """The metrics of one application in one process.

    They are in `registry` by themselves, or in the files of `directory` with other processes'.
    """

    def __init__(self, directory: Path | None) -> None:
        import prometheus_client as p

        p.disable_created_metrics()  # type: ignore[no-untyped-call]
        self.directory = directory
        self.registry = p.CollectorRegistry()
        count = self._maker(p.Counter)
        seconds = self._maker(p.Histogram, buckets=SECONDS)
        held = self._maker(p.Gauge, multiprocess_mode="livesum")
        self.requests = count("requests", "Requests answered", "call", "method", "status")
        self.seconds = seconds("request_seconds", "From head to last byte", "call")
        self.in_flight = held("requests_in_flight", "Requests that are being answered")()
        self.phases = seconds("phase_seconds", "Time of a request in one phase", "phase")
        self.problems = count("problems", "Answers that are problems, by code", "code")
        self.lines = count("batch_lines", "Lines of batches answered", "outcome")
        self.hits = count("cache_hits", "Found in a cache", "cache")
        self.misses = count("cache_misses", "Not found in a cache", "cache")
        self.bytes = held("cache_bytes", "Bytes held by a cache", "cache")
        self.entries = held("cache_entries", "Entries of a cache", "cache")
        self.budget = held("cache_budget_bytes", "Bytes that a cache may hold", "cache")
        self.workers = held("workers", "Processes that answer")()
        self.memory = held("resident_bytes", "Memory of the processes, shared parts in each")()
        self.cpu = count("cpu_seconds", "Processor time of the processes")
        self._looked_at = 0.0
        self._looking = Lock()
        self._told: dict[tuple[str, tuple[str, ...]], float] = {}
        if directory is None:
            self.begin()

    def _maker(self, kind: Any, **options: Any) -> Callable[..., Callable[..., Any]]:
        """Makes metrics of a kind; each gives its child for a row of label values."""

        def make(name: str, about: str, *labels: str) -> Callable[..., Any]:
            metric = kind(f"shortway_{name}", about, labels, registry=self.registry, **options)
            return cache(metric.labels) if labels else lambda: metric

        return make

    def began(self, environ: Environ) -> None:
        """A request has come."""
        self.in_flight.inc()

    def ended(self, seen: RequestRecord) -> None:
        """A request has been answered."""
        self.in_flight.dec()
        self.requests(seen.call, seen.method, str(seen.status)).inc()
        self.seconds(seen.call).observe(seen.seconds)
        for name, spent in seen.course.spent.items():
            self.phases(name).observe(spent)
        if code := seen.course.notes.get("problem"):
            self.problems(code).inc()
        self.look_again()

    def refused(self, status: int, code: str) -> None:
        """A request was refused before it reached the application."""
        self.requests("none", "other", str(status)).inc()
        self.problems(code).inc()

    def begin(self) -> None:
        """Count from now on, in this process: what its caches did before is not its work."""
        self._told = {(counter, label): now for counter, label, now in _elsewhere()}
        self.workers.set(1)
        self.look()

    def look_again(self) -> None:
        """`look`, unless it was a moment ago."""
        if monotonic() - self._looked_at > _LOOK_EVERY:
            self.look()

    def look(self) -> None:
        """Bring what is only known by looking up to date: caches, memory, processor time."""
        self._looked_at = monotonic()
        for name, report in _caches().items():
            self.bytes(name).set(report.bytes)
            self.entries(name).set(report.entries)
            self.budget(name).set(report.budget)
        with self._looking:  # two at once would count the same twice
            for counter, labels, now in _elsewhere():
                more = now - self._told.get((counter, labels), 0)
                getattr(self, counter)(*labels).inc(max(0, more))
                self._told[counter, labels] = now
        self.memory.set(resident_bytes())

    def text(self) -> bytes:
        """All processes' metrics, as Prometheus reads them."""
        from prometheus_client import CollectorRegistry, generate_latest, multiprocess

        self.look()
        if self.directory is None:
            return generate_latest(self.registry) + generate_latest(_about())
        found = CollectorRegistry()
        multiprocess.MultiProcessCollector(found, str(self.directory))  # type: ignore[no-untyped-call]
        with metrics_files.locked_for_reading(self.directory):
            return generate_latest(found) + generate_latest(_about())


def _caches() -> dict[str, CacheReport]:
    """What the caches hold and have done, those of one name added up."""
    found: dict[str, CacheReport] = {}
    for report in cache_reports():
        before = found.get(report.name)
        found[report.name] = report if before is None else _added(before, report)
    return found


def _added(one: CacheReport, other: CacheReport) -> CacheReport:
    added = {name: getattr(one, name) + getattr(other, name) for name in _ADDED}
    return replace(one, **added)


def _elsewhere() -> Iterator[tuple[str, tuple[str, ...], float]]:
    """What is counted by others: the counter's name here, its labels, what it has come to."""
    for name, report in _caches().items():
        yield "hits", (name,), report.hits
        yield "misses", (name,), report.misses
    used = resource.getrusage(resource.RUSAGE_SELF)
    yield "cpu", (), used.ru_utime + used.ru_stime


class _Build:
    """A metric that tells which version runs."""

    def collect(self) -> Iterator[GaugeMetricFamily]:
        from prometheus_client.core import GaugeMetricFamily

        labels = {"version": __version__, "api_version": API_VERSION}
        build = GaugeMetricFamily("shortway_build_info", "What runs", labels=tuple(labels))
        build.add_metric(tuple(labels.values()), 1)
        yield build


def _about() -> Any:
    from prometheus_client import CollectorRegistry

    registry = CollectorRegistry()
    registry.register(_Build())
    return registry


def resident_bytes() -> int:
    """Resident bytes of this process; 0 where there is no /proc."""
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
    except OSError:
        return 0
    return pages * resource.getpagesize()


def count_lines(lines: Iterable[bytes]) -> Iterator[bytes]:
    """The answers of a batch, each counted by its outcome and noted as it goes out."""
    metrics: Metrics = current_app.extensions[EXTENSION]
    return _counted(lines, metrics)


def _counted(lines: Iterable[bytes], metrics: Metrics) -> Iterator[bytes]:
    counts = chunks.Counts()
    for line in lines:
        this = chunks.counted(line)
        counts += this
        note("lines", counts)
        outcome = "solved" if this.solved else "refused" if this.refused else "failed"
        metrics.lines(outcome).inc()
        yield line


def init_metrics(app: Flask) -> Observer:
    """Give `app` its metrics and their address; what is returned has to watch its requests."""
    directory = Path(os.environ[DIRECTORY]) if DIRECTORY in os.environ else None
    if directory:
        metrics_files.prepare_directory(directory)
    metrics = Metrics(directory)
    app.extensions[EXTENSION] = metrics
    app.add_url_rule(ADDRESS, "getMetrics", lambda: _told(metrics))
    return Observer(metrics.ended, metrics.began)


def _told(metrics: Metrics) -> Response:
    reject_query()
    kind = "text/plain; version=0.0.4; charset=utf-8"
    return with_no_store(Response(metrics.text(), content_type=kind))
