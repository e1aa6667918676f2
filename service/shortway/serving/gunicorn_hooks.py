"""Gunicorn's hooks: what happens when its processes begin, run and end.

Knows gunicorn's hooks and the application's extensions. The first process is the arbiter, which
handles no requests; its workers do. How a worker itself ends is in `shortway.serving.lasting`.
"""

from __future__ import annotations

import os
import signal
import time
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any, Final, NoReturn

from shortway.api.http.shutdown_flag import begin_shutdown, is_shutting_down
from shortway.api.telemetry.prometheus_multiproc import merge_ended_process, remove_directory
from shortway.config import load_config
from shortway.request_trace import internal_requests

_DIRECTORY: Final = "PROMETHEUS_MULTIPROC_DIR"
_RETIRED: Final = "retired-"


def _directory() -> Path:
    return Path(os.environ[_DIRECTORY])


# --- the arbiter ---------------------------------------------------------------------------------


def on_starting(arbiter: Any) -> None:
    """Fill the caches that all workers share; handle SIGTERM by draining, and SIGALRM."""
    _ask(arbiter.app.wsgi(), "/readyz")
    seconds = load_config(os.environ).drain_seconds
    arbiter.handle_term = partial(_drain, arbiter, seconds)
    arbiter.handle_alrm = partial(_look, arbiter)
    arbiter.stops_at = float("inf")
    signal.signal(signal.SIGALRM, arbiter.signal)


def _ask(app: Any, path: str) -> None:
    """Make a request to the application that is neither authenticated, counted nor logged."""
    with internal_requests():
        app.test_client().get(path)


def _drain(arbiter: Any, seconds: int) -> None:
    """Begin to shut down; stop at once the second time."""
    if is_shutting_down() or not seconds:
        _stop()
    begin_shutdown()
    arbiter.log.info("Draining for %d s", seconds)
    arbiter.stops_at = time.monotonic() + seconds
    signal.setitimer(signal.ITIMER_REAL, seconds)


def _stop() -> NoReturn:
    begin_shutdown()
    raise StopIteration  # as gunicorn's own handler of SIGTERM does


def _look(arbiter: Any) -> None:
    """Stop if it is time; else start workers in place of those that have retired."""
    if time.monotonic() >= arbiter.stops_at:
        _stop()
    retired = sum(_mark(pid).exists() for pid in arbiter.WORKERS)
    arbiter.num_workers = arbiter.cfg.workers + retired
    arbiter.manage_workers()


def child_exit(arbiter: Any, worker: Any) -> None:
    """Merge the metrics of a worker that has ended, however it did."""
    with suppress(FileNotFoundError):  # the directory was removed: no reason to stop
        merge_ended_process(_directory(), worker.pid)
    if (mark := _mark(worker.pid)).exists():
        mark.unlink()
        arbiter.num_workers = max(arbiter.cfg.workers, arbiter.num_workers - 1)


def _mark(pid: int) -> Path:
    """A file that exists while the retired worker `pid` runs beside its successor."""
    return _directory() / f"{_RETIRED}{pid}"


# --- a worker ------------------------------------------------------------------------------------


def post_worker_init(worker: Any) -> None:
    """Let the metrics show a worker without requests."""
    if (metrics := _extension(worker, "shortway-metrics")) is not None:
        metrics.start()


def refresh_metrics(worker: Any) -> None:
    """Update the metrics of an idle worker."""
    if worker.booted and (metrics := _extension(worker, "shortway-metrics")) is not None:
        metrics.refresh_if_due()


def request_replacement(worker: Any) -> None:
    """Have the arbiter start another worker at once, while this one finishes."""
    with suppress(FileNotFoundError):  # then another comes when this one has gone
        _mark(worker.pid).touch()
    os.kill(worker.ppid, signal.SIGALRM)


def worker_exit(arbiter: Any, worker: Any) -> None:
    """Write the last counts and spans; remove the metrics if the arbiter was killed."""
    if os.getpid() != worker.pid or not worker.booted:
        return
    if (metrics := _extension(worker, "shortway-metrics")) is not None:
        metrics.refresh()
    if (spans := _extension(worker, "shortway-tracing")) is not None:
        spans.end()
    if os.getppid() != worker.ppid:
        remove_directory(_directory())


def _extension(worker: Any, name: str) -> Any:
    """An extension of the worker's application; benchmarks serve one without extensions."""
    return worker.wsgi.extensions.get(name)
