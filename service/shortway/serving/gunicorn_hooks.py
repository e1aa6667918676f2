"""Gunicorn's hooks: what happens when its processes begin and end.

Knows gunicorn's hooks and the application's extensions. The first process is the arbiter, which
handles no requests; its workers do.
"""

import os
import socket
import struct
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from shortway.api.telemetry.metrics import DIRECTORY
from shortway.api.telemetry.prometheus_multiproc import merge_ended_process, remove_directory
from shortway.api.warm_up import warm_up_calls
from shortway.garbage_collection import collect_after_request, shorten_collections
from shortway.serving.freed_memory import start_trimming

#: Timeout in seconds of a client that sends nothing more of a request's head.
HEAD_SECONDS: Final = 10
#: Seconds that a thread computes before another may. With Python's 5 ms a thread that only reads or
#: writes waits for several turns of those that compute: the slowest answers take twice as long.
SWITCH_SECONDS: Final = 0.001


def when_ready(arbiter: Any) -> None:
    """Before there are workers, which share what is made here."""
    app = arbiter.app.wsgi()
    if "shortway-metrics" in app.extensions:
        warm_up_calls(app)
    shorten_collections()


def post_worker_init(worker: Any) -> None:
    """Bound the waits, return freed memory, and show a worker without requests.

    Accepted connections inherit the listener's timeout (Linux); gunicorn sets none.
    """
    for listener in worker.sockets:
        wait = struct.pack("ll", HEAD_SECONDS, 0)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_RCVTIMEO, wait)
    sys.setswitchinterval(SWITCH_SECONDS)
    start_trimming()
    if (metrics := _extension(worker, "shortway-metrics")) is not None:
        metrics.start()


def post_request(worker: Any, request: Any, environ: Any, response: Any) -> None:
    """After a response has been sent."""
    collect_after_request()


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


def child_exit(arbiter: Any, worker: Any) -> None:
    """Merge the metrics of a worker that has ended, however it did."""
    with suppress(OSError, KeyError):  # removed, or never made: no reason to stop
        merge_ended_process(_directory(), worker.pid)


def _directory() -> Path:
    return Path(os.environ[DIRECTORY])


def _extension(worker: Any, name: str) -> Any:
    """An extension of the worker's application; benchmarks serve one without extensions."""
    return worker.wsgi.extensions.get(name)
