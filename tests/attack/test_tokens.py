"""A revoked token is refused after the token file broke and the worker that had read it died."""

from __future__ import annotations

import os
import signal
from pathlib import Path

from shortway.api.middleware.token_store import generate_token, token_line
from support.processes import Process, serving, until

PATH = "/v1/families"


def status(service: Process, token: str) -> int:
    return service.ask(PATH, Authorization=f"Bearer {token}")[0]


def test_a_revoked_token_stays_revoked(tmp_path: Path) -> None:
    old, new = generate_token(), generate_token()
    file = tmp_path / "tokens"
    file.write_text(token_line("app", old))
    with serving(TOKENS_FILE=str(file)) as service:
        assert status(service, old) == 200
        file.write_text(token_line("phone-app", new))
        assert (status(service, old), status(service, new)) == (401, 200)
        file.write_text("half a lin")
        (worker,) = service.workers()
        os.kill(worker, signal.SIGKILL)
        until(lambda: service.workers() not in ([], [worker]) and service.is_up())
        assert (status(service, old), status(service, new)) == (401, 200)
        (worker,) = service.workers()
        os.kill(service.pid, signal.SIGHUP)
        until(lambda: service.workers() not in ([], [worker]) and service.is_up())
        assert (status(service, old), status(service, new)) == (401, 200)
