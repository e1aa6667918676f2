"""How gunicorn runs the service: one place for `shortway serve` and for the container.

Knows the service's settings and gunicorn's documented ones. Each process has threads for clients
that send or read slowly; how many requests compute is `api.middleware.admission_control`'s.
"""

import ipaddress
import os
import resource
import tempfile
from pathlib import Path
from typing import Any, Final

from shortway.api.middleware.token_store import TokenStore
from shortway.api.telemetry.prometheus_multiproc import multiproc_directory
from shortway.config import ConfigurationError, ServiceConfig
from shortway.serving import gunicorn_hooks as hooks

APP = "shortway.api:create_app()"
#: Connections of a process, kept ones included.
CONNECTIONS: Final = 1000
#: Files of a process beside its connections: two for each thread, and these.
OTHER_FILES: Final = 64


def gunicorn_options(of: ServiceConfig) -> dict[str, Any]:
    """Gunicorn's settings by name, of the service's.

    Raises ConfigurationError if the service would be open to other machines without tokens and
    without ``open``, or the token file cannot be read.

    >>> from shortway.config import load_config
    >>> gunicorn_options(load_config({"SHORTWAY_HOST": "::1", "SHORTWAY_PORT": "8080"}))["bind"]
    '[::1]:8080'
    """
    _reject_open_by_mistake(of)
    memory = _memory_dir()
    return {
        "wsgi_app": APP,
        "bind": f"[{of.host}]:{of.port}" if ":" in of.host else f"{of.host}:{of.port}",
        "workers": of.workers,
        "worker_class": "gthread",
        "threads": of.threads,
        "worker_connections": _most_connections(of.threads),
        "preload_app": True,  # an error at startup stops the arbiter, not each worker
        "timeout": 60,
        "graceful_timeout": of.graceful_seconds,
        "keepalive": 15,  # longer than the pauses of an app that sends a request for each bar
        "limit_request_line": 8190,
        "limit_request_fields": 64,
        "forwarder_headers": "",  # clients cannot set SCRIPT_NAME or PATH_INFO
        "worker_tmp_dir": memory,
        "raw_env": [f"PROMETHEUS_MULTIPROC_DIR={multiproc_directory(memory)}"],
        "max_requests": of.max_requests,
        "max_requests_jitter": of.max_requests // 10,  # not all of them at once
        "when_ready": hooks.when_ready,
        "post_worker_init": hooks.post_worker_init,
        "post_request": hooks.post_request,
        "worker_exit": hooks.worker_exit,
        "child_exit": hooks.child_exit,
        "proc_name": "shortway",
        "logger_class": "shortway.serving.gunicorn_logger.Logger",
        "loglevel": of.log_level,
        "errorlog": None,  # the service's own lines, gunicorn's among them
        "accesslog": None,
        "control_socket_disable": True,
    }


def _most_connections(threads: int) -> int:
    """Connections for which there are file descriptors: a worker that runs out of them ends.

    Raises ConfigurationError if there are too few for the threads.
    """
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    others = OTHER_FILES + 2 * threads
    wanted = CONNECTIONS + others
    if 0 <= soft < wanted:
        soft = wanted if hard < 0 else min(hard, wanted)
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
    if 0 <= soft < others + threads:
        raise ConfigurationError(
            f"SHORTWAY_THREADS={threads} requires {others + threads} open files; the limit"
            f" (ulimit -n) is {soft}"
        )
    return min(CONNECTIONS, soft - others) if soft >= 0 else CONNECTIONS


def _reject_open_by_mistake(of: ServiceConfig) -> None:
    """Reject a service that other machines reach without tokens, unless ``open`` is set."""
    if of.tokens_file:
        TokenStore(of.tokens_file)
    elif not (of.open or _is_loopback(of.host)):
        raise ConfigurationError(
            f"listening on {of.host} serves every client that reaches this machine: set"
            " SHORTWAY_TOKENS_FILE (`shortway token NAME` makes tokens), or SHORTWAY_OPEN=1"
            " (`shortway serve --open`)"
        )


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _memory_dir() -> str:
    """The folder of heartbeats and metrics: in memory if possible, since a disk can block."""
    shared = Path("/dev/shm")
    return str(shared) if os.access(shared, os.W_OK) else tempfile.gettempdir()
