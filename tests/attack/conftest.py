"""The service as it is attacked: bare, and behind nginx with docker/nginx.conf."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from containers.topology import Nginx, running_nginx
from support.processes import Process, serving


@pytest.fixture(scope="module")
def bare() -> Iterator[Process]:
    """`shortway serve` alone: two workers of 64 threads."""
    with serving(workers=2, LOG_LEVEL="error") as found:
        yield found
        assert found.is_up()
        assert "Traceback" not in found.log()


@pytest.fixture(scope="module")
def proxied() -> Iterator[Process]:
    """`shortway serve` as it runs behind nginx: two workers of 64 threads."""
    with serving(workers=2, LOG_LEVEL="error", TRUSTED_PROXIES="1") as found:
        yield found
        assert found.is_up()
        assert "Traceback" not in found.log()


@pytest.fixture(scope="module")
def nginx(proxied: Process) -> Iterator[Nginx]:
    with running_nginx(proxied.port) as found:
        yield found
