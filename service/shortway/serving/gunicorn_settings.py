"""How gunicorn runs the service: one place for `shortway serve` and for the container.

Knows the service's settings. Threads beside processes, since a slow reader of an answer must
not hold up the others; the number of processes is what bounds the computing.
"""

from __future__ import annotations

import ipaddress
import os
import tempfile
from pathlib import Path
from typing import Any

from shortway.api.middleware.token_store import TokenStore
from shortway.api.telemetry import prometheus_multiproc as metrics_files
from shortway.config import ConfigurationError, ServiceConfig
from shortway.serving import gunicorn_hooks as hooks

APP = "shortway.api:create_app()"


def gunicorn_options(of: ServiceConfig) -> dict[str, Any]:
    """Gunicorn's settings by name, of the service's.

    Raises
    ------
    ConfigurationError
        If anybody could ask from elsewhere and nobody has said so, or the file of tokens cannot
        be read.

    Examples
    --------
    >>> from shortway.config import read
    >>> gunicorn_options(load_config({"SHORTWAY_HOST": "::1", "SHORTWAY_PORT": "8080"}))["bind"]
    '[::1]:8080'
    """
    _refuse_unwitting(of)
    memory = _memory_dir()
    return {
        "wsgi_app": APP,
        "bind": f"[{of.host}]:{of.port}" if ":" in of.host else f"{of.host}:{of.port}",
        "workers": of.workers,
        "worker_class": "shortway.serving.gunicorn_worker.Worker",
        "threads": of.threads,
        "preload_app": True,  # a service that cannot start says so at once, not worker by worker
        "timeout": 60,
        "graceful_timeout": of.graceful_seconds,
        "keepalive": 15,  # longer than the pauses of an app that asks bar by bar
        "limit_request_line": 8190,
        "limit_request_fields": 64,
        "forwarder_headers": "",  # a client's own SCRIPT_NAME or PATH_INFO is no address
        "worker_tmp_dir": memory,
        "raw_env": [f"PROMETHEUS_MULTIPROC_DIR={metrics_files.multiproc_directory(memory)}"],
        "max_requests": of.max_requests,
        "max_requests_jitter": of.max_requests // 10,  # not all of them at once
        "on_starting": hooks.on_starting,
        "post_worker_init": hooks.post_worker_init,
        "worker_exit": hooks.worker_exit,
        "child_exit": hooks.child_exit,
        "proc_name": "shortway",
        "logger_class": "shortway.serving.gunicorn_worker.Logger",
        "loglevel": of.log_level,
        "errorlog": None,  # the service's own lines, gunicorn's among them
        "accesslog": None,
        "control_socket_disable": True,
    }


def _refuse_unwitting(of: ServiceConfig) -> None:
    """Let nobody listen beyond this machine without tokens by mistake."""
    if of.tokens_file:
        TokenStore(of.tokens_file)
    elif not (of.open or _is_loopback(of.host)):
        raise ConfigurationError(
            f"listening on {of.host} lets anybody ask who reaches this machine: name a file of"
            " tokens in SHORTWAY_TOKENS_FILE (`shortway token NAME` makes them), or say"
            " SHORTWAY_OPEN=1 (`shortway serve --open`)"
        )


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _memory_dir() -> str:
    """Where the workers' heartbeats and counts lie: in memory if possible; a disk can stall."""
    shared = Path("/dev/shm")
    return str(shared) if os.access(shared, os.W_OK) else tempfile.gettempdir()
