"""What happens when gunicorn's processes begin and end.

Knows gunicorn's hooks and the application's extensions; what needs the application loads it when
it is called. The first process is the arbiter, which answers nothing; its workers do.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from shortway import metrics_files


def metrics_directory(memory: str) -> Path:
    """Where the processes of the service that this process is the first of count."""
    return Path(memory) / f"shortway-metrics-{os.getpid()}"


def worker_begins(worker: Any) -> None:
    """Let the metrics show a worker that has asked nothing yet."""
    _metrics(worker).begin()


def worker_ends(arbiter: Any, worker: Any) -> None:
    """Leave the last counts; where the arbiter has gone without a word, its files as well."""
    if os.getpid() != worker.pid or not hasattr(worker, "wsgi"):
        return
    _metrics(worker).look()
    if os.getppid() != worker.ppid and (directory := _metrics(worker).directory):
        metrics_files.remove(directory)


def worker_ended(arbiter: Any, worker: Any) -> None:
    """Add up what a worker counted, however it ended."""
    metrics_files.retire(Path(os.environ["PROMETHEUS_MULTIPROC_DIR"]), worker.pid)


def arbiter_ends(arbiter: Any) -> None:
    """Remove what the service kept in memory."""
    metrics_files.remove(Path(os.environ["PROMETHEUS_MULTIPROC_DIR"]))


def _metrics(worker: Any) -> Any:
    return worker.wsgi.extensions["shortway-metrics"]
