"""Builds docker/Dockerfile with no container engine and no registry, runs the image, and calls it.

    python tests/containers/check_image.py       (as root; Debian's mmdebstrap, buildah and runc)

The base is made of Debian's packages under the name of the real one, so that its size and its
Python are not the real one's. What runs is what the image says of itself (command, environment,
user, health check), in the environment and within the limits of compose.yaml.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
import time
from hashlib import sha256
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from containers import manifests
from containers.images import NEEDED, Container, Store
from support.loopback import unused_port

BASE = "localhost/python:3.11-slim-bookworm"
IMAGE = "localhost/shortway:check"
PACKAGES = "python3-venv,python3-dev,gcc,libc6-dev,ca-certificates"
#: Free bytes that are plenty.
PLENTY = 8 << 30
CHART = "| Fm7 | Bb7 | Ebmaj7 | % |"


def ask(port: int, path: str, body: Any = None, **headers: str) -> bytes:
    """The body of an answer, which has to be a 200."""
    connection = HTTPConnection("127.0.0.1", port, timeout=30)
    given = {"Content-Type": "application/json", **headers}
    connection.request("POST" if body else "GET", path, body and json.dumps(body), given)
    response = connection.getresponse()
    answer = response.read()
    connection.close()
    assert response.status == 200, (path, response.status, answer[:500])
    return answer


def wait(container: Container, port: int) -> None:
    """Until it is ready."""
    for _ in range(1800):
        try:
            ask(port, "/readyz")
        except OSError:
            assert container.process.poll() is None, "the container has stopped by itself"
            time.sleep(0.1)
        else:
            return
    raise AssertionError("not ready within 180 s")


def check_shut(container: Container) -> None:
    """Nobody in it is root, may become root, or can write outside /tmp and /dev/shm."""
    lines = container.inside("cat", "/proc/1/status").splitlines()
    status = dict(line.split(":\t", 1) for line in lines)
    assert status["Name"].startswith("gunicorn"), status["Name"]
    assert status["Uid"].split() == ["10001"] * 4, status["Uid"]
    assert (int(status["CapEff"], 16), status["NoNewPrivs"]) == (0, "1")
    places = "/ /opt/shortway /etc/shortway /tmp /dev/shm"
    tried = f"for d in {places}; do touch $d/x 2>&1 && echo $d; done; true"
    lines = container.inside("sh", "-c", tried).splitlines()
    assert [line for line in lines if line.startswith("/")] == ["/tmp", "/dev/shm"], lines
    assert sum("Read-only file system" in line for line in lines) == 3, lines


def check_clean(container: Container) -> None:
    """Nothing of the build, and of this machine's settings, is left in it."""
    left = "/etc/pip.conf /src /wheels /opt/build /opt/shortway/bin/pip"
    assert container.inside("sh", "-c", f"ls -d {left} 2>/dev/null; true") == ""


def check_answers(container: Container, port: int, token: str, health: list[str]) -> None:
    """A path, the document, a picture (with its fonts), and the image's own health check."""
    given = {"Authorization": f"Bearer {token}"}
    path = json.loads(ask(port, "/v1/paths", {"chart": {"text": CHART}}, **given))
    assert path["optimal"] is True
    assert json.loads(ask(port, "/readyz", None))["search"] == "compiled"
    assert "/v1/paths" in json.loads(ask(port, "/openapi.json"))["paths"]
    picture = ask(port, "/v1/scores", {"chart": {"text": CHART}}, Accept="image/svg+xml", **given)
    assert picture.count(b"<use") > 10, picture[:300]
    kind, *command = health
    assert kind == "CMD"
    container.inside(*command)


def check_stop(container: Container, port: int, token: str, stop_signal: str) -> float:
    """A request that is half sent when the stop signal comes is answered; seconds to the end."""
    body = json.dumps({"chart": {"text": CHART}}).encode()
    connection = HTTPConnection("127.0.0.1", port, timeout=30)
    connection.putrequest("POST", "/v1/paths")
    for name, value in {"Content-Type": "application/json", "Content-Length": len(body)}.items():
        connection.putheader(name, str(value))
    connection.putheader("Authorization", f"Bearer {token}")
    connection.endheaders(body[:10])
    time.sleep(0.5)
    began = time.monotonic()
    container.send(stop_signal)
    time.sleep(1)
    connection.send(body[10:])
    assert connection.getresponse().status == 200
    assert container.process.wait(timeout=60) == 0
    return time.monotonic() - began


def limits() -> dict[str, Any]:
    """compose.yaml's, as runc takes them."""
    given = manifests.compose()["services"]["shortway-1"]["deploy"]["resources"]["limits"]
    quota = int(float(given["cpus"]) * 100_000)
    return {
        "memory": {"limit": int(given["memory"].removesuffix("M")) << 20},
        "cpu": {"quota": quota, "period": 100_000},
        "pids": {"limit": given["pids"]},
    }


def environment(port: int) -> dict[str, str]:
    """compose.yaml's, at a free port; its Redis is away, which the service has to bear."""
    given = manifests.environment(manifests.compose()["services"]["shortway-1"])
    here = {"SHORTWAY_PORT": str(port), "SHORTWAY_REDIS_URL": f"redis://127.0.0.1:{unused_port()}"}
    return given | here


def check(store: Store) -> None:
    """All of it, with a line for each step."""
    began = time.monotonic()

    def step(text: str) -> None:
        print(f"{time.monotonic() - began:6.1f} s  {text}", flush=True)

    store.make_base(BASE, PACKAGES)
    step(f"a base of Debian's packages: {store.size(BASE)}")
    store.build(IMAGE, manifests.DOCKER / "Dockerfile", manifests.DOCKER.parent, BASE)
    step(f"docker/Dockerfile built on it: {store.size(IMAGE)}")
    config, port, token = store.config(IMAGE), unused_port(), "shortway_" + "x" * 43
    known = store.folder / "tokens"
    given = environment(port)
    known.write_text(f"caller sha256:{sha256(token.encode()).hexdigest()}\n")
    files = {given["SHORTWAY_TOKENS_FILE"]: known}
    with store.running(IMAGE, given, files, limits()) as container:
        wait(container, port)
        step("ready, as process 1")
        check_shut(container)
        step("uid 10001, no capability, nothing to write but /tmp and /dev/shm")
        check_clean(container)
        check_answers(container, port, token, config["Healthcheck"]["Test"])
        step("a path, the document, a picture, the health check")
        took = check_stop(container, port, token, config["StopSignal"])
        step(f"a request in flight was answered, and it stopped {took:.1f} s after the signal")


def place() -> str | None:
    """Memory, if there is plenty: every layer is a copy of all below it, and disks are slow."""
    memory = "/dev/shm"
    return memory if Path(memory).is_dir() and shutil.disk_usage(memory).free > PLENTY else None


def main() -> None:
    missing = [name for name in NEEDED if shutil.which(name) is None]
    if missing:
        sys.exit(f"not on this machine: {', '.join(missing)}")
    with tempfile.TemporaryDirectory(prefix="shortway-image-", dir=place()) as folder:
        Path(folder).chmod(0o755)  # the container's user reads its tokens there
        check(Store(Path(folder)))


if __name__ == "__main__":
    main()
