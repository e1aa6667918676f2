"""What compose.yaml puts together, as processes on the loopback: nginx, replicas, a load.

The files are the real ones. Of nginx.conf only what a container would give is written anew: where
the replicas are, where it listens, what it may write.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPResponse
from pathlib import Path
from typing import Any

import pytest

from containers import manifests
from support.loopback import is_open, unused_port
from support.processes import LONG, until

NGINX = shutil.which("nginx", path=os.environ["PATH"] + ":/usr/sbin")
NOBODY = 65534


@dataclass(frozen=True)
class Nginx:
    """A running nginx."""

    port: int
    folder: Path

    def ask(
        self, path: str, body: Any = None, source: str = "127.0.0.1", **headers: str
    ) -> tuple[HTTPResponse, bytes]:
        """An answer with its body; `source` is the caller's own address."""
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        if body is not None and not isinstance(body, bytes):
            body = json.dumps(body).encode()
            sent.setdefault("Content-Type", "application/json")
        connection = HTTPConnection("127.0.0.1", self.port, LONG, source_address=(source, 0))
        try:
            connection.request("GET" if body is None else "POST", path, body, sent)
            response = connection.getresponse()
            return response, response.read()
        finally:
            connection.close()

    def lines(self) -> list[dict[str, Any]]:
        """Its access log so far."""
        return [json.loads(line) for line in (self.folder / "access").read_text().splitlines()]


@contextmanager
def running_nginx(*replicas: int, changed: Mapping[str, str] | None = None) -> Iterator[Nginx]:
    """docker/nginx.conf before replicas at these ports, run by nobody if a test is root.

    `changed` has words of the file and what stands there instead.
    """
    if NGINX is None:
        missing = "no nginx here"
        if os.environ.get("SHORTWAY_NEED_NGINX"):
            pytest.fail(f"{missing}, and SHORTWAY_NEED_NGINX asks for it")
        pytest.skip(missing)
    with tempfile.TemporaryDirectory(prefix="shortway-nginx-") as name:
        folder = Path(name)
        folder.chmod(0o777)
        nginx = Nginx(unused_port(), folder)
        (folder / "conf").write_text(rendered(nginx, replicas, changed or {}))
        command = [NGINX, "-e", "stderr", "-c", str(folder / "conf"), "-g", "daemon off;"]
        user = NOBODY if os.getuid() == 0 else None
        process = subprocess.Popen(command, user=user, group=user, extra_groups=user and [])
        try:
            until(lambda: is_open(nginx.port) or process.poll() is not None, "nginx")
            yield nginx
        finally:
            process.terminate()
            process.wait(LONG)


def rendered(nginx: Nginx, replicas: tuple[int, ...], changed: Mapping[str, str]) -> str:
    """nginx.conf for this machine."""
    text = (manifests.DOCKER / "nginx.conf").read_text()
    for old, new in changed.items():
        assert old in text, old
        text = text.replace(old, new)
    one, *_ = re.findall(r" +server [\d.]+:\d+ ([^;]*;)\n", text)
    servers = "".join(f"        server 127.0.0.1:{port} {one}\n" for port in replicas)
    text = re.sub(r"( +server [\d.]+:\d+ [^;]*;\n)+", servers, text)
    text = re.sub(r"listen \d+;", f"listen 127.0.0.1:{nginx.port};", text)
    text = text.replace("/dev/stdout", "/tmp/access").replace("/dev/stderr", "/tmp/errors")
    return text.replace("/tmp/", f"{nginx.folder}/")


@dataclass
class Replica:
    """One replica: gunicorn as the image starts it, with the environment of compose.yaml."""

    environment: dict[str, str]
    port: int = field(default_factory=unused_port)
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start, and wait until it is ready."""
        gunicorn = Path(sys.executable).with_name("gunicorn")
        conf = manifests.DOCKER / "gunicorn.conf.py"
        given = {**self.environment, "SHORTWAY_PORT": str(self.port)}
        self.process = subprocess.Popen(
            [gunicorn, "--config", conf], env={**os.environ, **given}, start_new_session=True
        )
        until(self.is_ready, "a replica")

    def is_ready(self) -> bool:
        connection = HTTPConnection("127.0.0.1", self.port, timeout=LONG)
        try:
            connection.request("GET", "/readyz")
            return connection.getresponse().status == 200
        except OSError:
            assert self.process is not None
            assert self.process.poll() is None, "the replica has stopped"
            return False
        finally:
            connection.close()

    def stop(self) -> int:
        """Ask it to stop, and give its exit code."""
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(LONG)

    def kill(self) -> None:
        """End it and its workers at once."""
        assert self.process is not None
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(LONG)


def environment(redis_url: str, **changed: str) -> dict[str, str]:
    """A replica's environment in compose.yaml, on this machine."""
    given = manifests.environment(manifests.compose()["services"]["shortway-1"])
    here = {"SHORTWAY_HOST": "127.0.0.1", "SHORTWAY_REDIS_URL": redis_url}
    return given | here | {f"SHORTWAY_{name}": value for name, value in changed.items()}


@contextmanager
def running_replicas(given: dict[str, str]) -> Iterator[list[Replica]]:
    """Two of them."""
    replicas = [Replica(given), Replica(given)]
    try:
        for replica in replicas:
            replica.start()
        yield replicas
    finally:
        for replica in replicas:
            if replica.process is not None and replica.process.poll() is None:
                replica.kill()


@dataclass
class Load:
    """What callers who never ask twice have seen so far."""

    answered: int = 0
    failures: list[str] = field(default_factory=list)

    def settle(self, more: int = 30) -> None:
        """Until so many more are answered."""
        goal = self.answered + more
        until(lambda: self.answered >= goal or self.failures, f"{more} answers")


@contextmanager
def load(nginx: Nginx, callers: int = 3, **headers: str) -> Iterator[Load]:
    """A few callers, each with one request after the other until the block ends."""
    seen, over = Load(), threading.Event()

    def call(number: int) -> None:
        while not over.is_set():
            title = f"{number}.{seen.answered}"  # so that no answer is one that is kept
            chart = f"title: {title}\n| Dm7 | G7 | Cmaj7 | Am7 |"
            try:
                response, body = nginx.ask("/v1/paths", {"chart": {"text": chart}}, **headers)
            except OSError as error:
                seen.failures.append(repr(error))
                continue
            if response.status == 200 and json.loads(body)["optimal"]:
                seen.answered += 1
            else:
                seen.failures.append(f"{response.status} {body[:200]!r}")
            time.sleep(0.01)

    threads = [threading.Thread(target=call, args=(number,)) for number in range(callers)]
    for thread in threads:
        thread.start()
    try:
        yield seen
    finally:
        over.set()
        for thread in threads:
            thread.join()
