"""How gunicorn runs the service: one place for `shortway serve` and for the container.

Knows the standard library only. Threads beside processes, since a slow reader of an answer must
not hold up the others; the number of processes is what bounds the computing.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Any

APP = "shortway.api:create_app()"
DEFAULT_HOST = "127.0.0.1"
DEFAULT_PORT = 8000
MOST_DEFAULT_WORKERS = 4


def usable_cpus() -> int:
    """Processors that this process may use, which in a container can be fewer than there are."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on Linux
        return os.cpu_count() or 1


def settings(
    host: str = DEFAULT_HOST, port: int = DEFAULT_PORT, workers: int | None = None
) -> dict[str, Any]:
    """Gunicorn's settings by name.

    Parameters
    ----------
    host, port : str, int
        Where to listen; an IPv6 address goes without brackets.
    workers : int, optional
        Processes; by default one for each usable processor, four at most.

    Examples
    --------
    >>> settings("::1", 8080)["bind"]
    '[::1]:8080'
    """
    return {
        "wsgi_app": APP,
        "bind": f"[{host}]:{port}" if ":" in host else f"{host}:{port}",
        "workers": workers or min(MOST_DEFAULT_WORKERS, usable_cpus()),
        "worker_class": "shortway.gunicorn_worker.Worker",
        "threads": 4,
        "preload_app": True,  # a service that cannot start says so at once, not worker by worker
        "timeout": 60,
        "graceful_timeout": 20,
        "keepalive": 15,  # longer than the pauses of an app that asks bar by bar
        "limit_request_line": 8190,
        "limit_request_fields": 64,
        "worker_tmp_dir": _memory_dir(),
        "proc_name": "shortway",
        "errorlog": "-",
        "accesslog": None,  # the service writes its own lines
        "control_socket_disable": True,
    }


def _memory_dir() -> str:
    """Where the workers' heartbeat files lie: in memory if possible, a disk can stall them."""
    shared = Path("/dev/shm")
    return str(shared) if os.access(shared, os.W_OK) else tempfile.gettempdir()
