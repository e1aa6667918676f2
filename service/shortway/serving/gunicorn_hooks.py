"""What happens when gunicorn's processes begin, go on and end.

Knows gunicorn's hooks, and the application's extensions by name only: the command line loads this
and not the application. The first process is the arbiter, which answers nothing; its workers do.
How a worker itself ends is `shortway.serving.lasting`'s.
"""

from __future__ import annotations

import os
import signal
import time
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any, Final, NoReturn

from shortway.api.http import shutdown_flag as draining
from shortway.api.telemetry import prometheus_multiproc as metrics_files
from shortway.config import load_config
from shortway.request_trace import internal_requests

_DIRECTORY: Final = "PROMETHEUS_MULTIPROC_DIR"
_RETIRED: Final = "retired-"


def _directory() -> Path:
    return Path(os.environ[_DIRECTORY])


# --- the arbiter ---------------------------------------------------------------------------------


def on_starting(arbiter: Any) -> None:
    """Fill the tables that all workers will share; have SIGTERM drain first, and SIGALRM look."""
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
    """Say that the service is about to stop; stop at once if that was said before."""
    if draining.is_shutting_down() or not seconds:
        _stop()
    draining.begin_shutdown()
    arbiter.log.info("Draining for %d s", seconds)
    arbiter.stops_at = time.monotonic() + seconds
    signal.setitimer(signal.ITIMER_REAL, seconds)


def _stop() -> NoReturn:
    draining.begin_shutdown()
    raise StopIteration  # as gunicorn's own handler of SIGTERM does


def _look(arbiter: Any) -> None:
    """Stop if it is time; else keep as many workers as there should be beside the retired."""
    if time.monotonic() >= arbiter.stops_at:
        _stop()
    retired = sum(_mark(pid).exists() for pid in arbiter.WORKERS)
    arbiter.num_workers = arbiter.cfg.workers + retired
    arbiter.manage_workers()


def child_exit(arbiter: Any, worker: Any) -> None:
    """Add up what a worker counted, however it ended; one that had retired has its successor."""
    with suppress(FileNotFoundError):  # somebody cleans up too well: no reason to stop
        metrics_files.merge_ended_process(_directory(), worker.pid)
    if (mark := _mark(worker.pid)).exists():
        mark.unlink()
        arbiter.num_workers = max(arbiter.cfg.workers, arbiter.num_workers - 1)


def _mark(pid: int) -> Path:
    """A file that is there while the worker `pid` lives on beside its successor."""
    return _directory() / f"{_RETIRED}{pid}"


# --- a worker ------------------------------------------------------------------------------------


def post_worker_init(worker: Any) -> None:
    """Let the metrics show a worker that has been asked nothing yet."""
    if (metrics := _extension(worker, "shortway-metrics")) is not None:
        metrics.start()


def refresh_metrics(worker: Any) -> None:
    """Keep what an idle worker tells of itself up to date."""
    if worker.booted and (metrics := _extension(worker, "shortway-metrics")) is not None:
        metrics.refresh_if_due()


def request_replacement(worker: Any) -> None:
    """Have the arbiter start another worker at once, while this one finishes."""
    with suppress(FileNotFoundError):  # then another comes when this one has gone
        _mark(worker.pid).touch()
    os.kill(worker.ppid, signal.SIGALRM)


def worker_exit(arbiter: Any, worker: Any) -> None:
    """Leave the last counts and spans; and no files where the arbiter has gone without a word."""
    if os.getpid() != worker.pid or not worker.booted:
        return
    if (metrics := _extension(worker, "shortway-metrics")) is not None:
        metrics.refresh()
    if (spans := _extension(worker, "shortway-tracing")) is not None:
        spans.end()
    if os.getppid() != worker.ppid:
        metrics_files.remove_directory(_directory())


def _extension(worker: Any, name: str) -> Any:
    """What the worker's application has by that name; benchmarks serve one that has nothing."""
    return worker.wsgi.extensions.get(name)
