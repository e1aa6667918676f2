"""Builds docker/Dockerfile with no container engine and no registry, runs the image, and calls it.

    python tests/containers/check_image.py        (as root; Debian's mmdebstrap, buildah and runc)

The base is made of Debian's packages under the name of the real one, so its size and its Python
are not the real one's. What the image says of itself (command, environment, user, health check) is
what runs, under runc, with the limits of compose.yaml: a read-only root file system, no capability,
no new privileges, so much memory. It shares the machine's network.
"""

from __future__ import annotations

import json
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

from support.loopback import unused_port

ROOT = Path(__file__).parents[2]
BASE = "localhost/python:3.11-slim-bookworm"
IMAGE = "localhost/shortway:check"
NEEDED = ("mmdebstrap", "buildah", "runc")
UNNEEDED = [f"path-exclude=/usr/share/{name}/*" for name in ("doc", "locale", "man")]
CHART = "| Fm7 | Bb7 | Ebmaj7 | % |"
LIMITS = {"memory": {"limit": 1024 << 20}, "pids": {"limit": 128}}
TMPFS = ["nosuid", "nodev", "mode=1777", "size=64m"]


def said(*command: str | Path) -> str:
    """What a command prints; its own words and ours if it fails."""
    return subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout.strip()


@dataclass(frozen=True)
class Store:
    """Images in a folder of their own."""

    folder: Path

    def buildah(self, *arguments: str | Path) -> str:
        places = ("--root", self.folder / "images", "--runroot", self.folder / "run")
        return said("buildah", *places, "--storage-driver", "vfs", *arguments)

    def make_base(self) -> None:
        """An image of Debian bookworm with its Python 3.11, from Debian's packages."""
        archive = self.folder / "base.tar"
        packages = "--include=python3-venv,ca-certificates"
        leaving = [f"--dpkgopt={option}" for option in UNNEEDED]
        said("mmdebstrap", "--quiet", "--variant=minbase", packages, *leaving, "bookworm", archive)
        container = self.buildah("from", "scratch")
        self.buildah("add", "--quiet", container, archive, "/")
        self.buildah("commit", "--quiet", "--rm", container, BASE)
        archive.unlink()

    def build(self) -> None:
        """The real Dockerfile; pip asks the registry that this machine asks."""
        ours = ["--volume", "/etc/ssl/certs:/etc/ssl/certs:ro", "--build-arg", f"BASE={BASE}"]
        if Path("/etc/pip.conf").exists():
            ours += ["--secret", "id=pip.conf,src=/etc/pip.conf"]
        options = ["--quiet", "--isolation", "chroot", "--format", "docker", *ours]
        self.buildah("build", *options, "--file", ROOT / "docker/Dockerfile", "--tag", IMAGE, ROOT)

    def config(self) -> dict[str, Any]:
        """What the image says of itself."""
        found = json.loads(self.buildah("inspect", "--type", "image", IMAGE))
        config: dict[str, Any] = found["Docker"]["config"]
        return config

    def size(self, image: str) -> str:
        """What an image takes unpacked, in buildah's words."""
        found: str = json.loads(self.buildah("images", "--json", image))[0]["size"]
        return found


def bundle(folder: Path, root: str, config: dict[str, Any], environment: dict[str, str]) -> None:
    """An OCI bundle that runs `config` as compose.yaml and kubernetes/ ask for it."""
    (folder / "config.json").unlink(missing_ok=True)
    said("runc", "spec", "--bundle", folder)
    spec = json.loads((folder / "config.json").read_text())
    user, group = (int(part) for part in config["User"].split(":"))
    spec["process"] |= {
        "terminal": False,
        "user": {"uid": user, "gid": group},
        "args": config["Cmd"],
        "env": config["Env"] + [f"{name}={value}" for name, value in environment.items()],
        "capabilities": {},
        "noNewPrivileges": True,
    }
    spec["root"] = {"path": root, "readonly": True}
    spec["mounts"] = [
        mount for mount in spec["mounts"] if mount["destination"] in ("/proc", "/dev", "/dev/shm")
    ] + [{"destination": "/tmp", "type": "tmpfs", "source": "tmpfs", "options": TMPFS}]
    spec["linux"]["resources"] = LIMITS
    spec["linux"]["namespaces"] = [{"type": kind} for kind in ("pid", "ipc", "uts", "mount")]
    (folder / "config.json").write_text(json.dumps(spec))


@dataclass(frozen=True)
class Container:
    """A running container."""

    name: str
    port: int
    process: subprocess.Popen[bytes]

    def ask(self, method: str, path: str, body: Any = None, accept: str = "*/*") -> bytes:
        """The body of an answer, which has to be a 200."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=30)
        headers = {"Content-Type": "application/json", "Accept": accept}
        connection.request(method, path, json.dumps(body) if body else None, headers)
        response = connection.getresponse()
        answer = response.read()
        assert response.status == 200, (path, response.status, answer[:500])
        return answer

    def inside(self, *command: str) -> str:
        return said("runc", "exec", self.name, *command)

    def wait(self) -> None:
        """Until it answers."""
        for _ in range(300):
            try:
                self.ask("GET", "/readyz")
            except OSError:
                assert self.process.poll() is None, "the container has stopped by itself"
                time.sleep(0.1)
            else:
                return
        raise AssertionError("no answer within 30 s")


@contextmanager
def running(store: Store, config: dict[str, Any]) -> Iterator[Container]:
    """The image as a container, removed at the end."""
    port, name = unused_port(), "shortway-check"
    made = store.buildah("from", IMAGE)
    folder = store.folder / "bundle"
    folder.mkdir(exist_ok=True)
    given = {"SHORTWAY_PORT": str(port), "SHORTWAY_WORKERS": "2", "SHORTWAY_OPEN": "1"}
    bundle(folder, store.buildah("mount", made), config, given)
    command = ["runc", "run", "--bundle", str(folder), name]
    process = subprocess.Popen(command)
    try:
        container = Container(name, port, process)
        container.wait()
        yield container
    finally:
        subprocess.run(["runc", "delete", "--force", name], stderr=subprocess.DEVNULL, check=False)
        process.wait(timeout=30)
        store.buildah("rm", made)


def check_shut(container: Container) -> None:
    """Nobody in it is root, may become root, or can write outside /tmp and /dev/shm."""
    status = dict(
        line.split(":\t", 1) for line in container.inside("cat", "/proc/1/status").splitlines()
    )
    assert status["Name"].startswith("gunicorn"), status["Name"]
    assert status["Uid"].split() == ["10001"] * 4, status["Uid"]
    assert (int(status["CapEff"], 16), status["NoNewPrivs"]) == (0, "1")
    tried = (
        "for d in / /opt/shortway /etc/shortway /tmp /dev/shm; do touch $d/x 2>&1 && echo $d; done"
    )
    lines = container.inside("sh", "-c", tried + "; true").splitlines()
    assert [line for line in lines if line.startswith("/")] == ["/tmp", "/dev/shm"], lines
    assert sum("Read-only file system" in line for line in lines) == 3, lines


def check_answers(container: Container, config: dict[str, Any]) -> None:
    """A path, a picture (whose fonts have to be there), and the image's own health check."""
    path = json.loads(container.ask("POST", "/v1/paths", {"chart": CHART}))
    assert path["optimal"] is True
    picture = container.ask("POST", "/v1/scores", {"chart": CHART}, "image/svg+xml")
    assert picture.count(b"<use") > 10, picture[:300]
    kind, *command = config["Healthcheck"]["Test"]
    assert kind == "CMD"
    container.inside(*command)


def check_stop(container: Container, config: dict[str, Any]) -> float:
    """A request that is half sent when the stop signal comes is answered; seconds to the end."""
    body = json.dumps({"chart": CHART}).encode()
    connection = HTTPConnection("127.0.0.1", container.port, timeout=30)
    connection.putrequest("POST", "/v1/paths")
    connection.putheader("Content-Type", "application/json")
    connection.putheader("Content-Length", str(len(body)))
    connection.endheaders(body[:10])
    time.sleep(0.5)
    began = time.monotonic()
    said("runc", "kill", container.name, config["StopSignal"])
    time.sleep(1)
    connection.send(body[10:])
    assert connection.getresponse().status == 200
    assert container.process.wait(timeout=30) == 0
    return time.monotonic() - began


def check(store: Store) -> None:
    """All of it, with a line for each step."""
    began = time.monotonic()

    def step(text: str) -> None:
        print(f"{time.monotonic() - began:6.1f} s  {text}", flush=True)

    store.make_base()
    step(f"base of Debian's packages: {store.size(BASE)}")
    store.build()
    step(f"docker/Dockerfile built: {store.size(IMAGE)}")
    config = store.config()
    with running(store, config) as container:
        step("it runs as process 1 and is ready")
        check_shut(container)
        step("uid 10001, no capability, nothing to write but /tmp and /dev/shm")
        check_answers(container, config)
        step("a path, a picture, the health check")
        took = check_stop(container, config)
        step(f"a request in flight was answered, and it stopped {took:.1f} s after SIGTERM")


def main() -> None:
    missing = [name for name in NEEDED if shutil.which(name) is None]
    if missing:
        sys.exit(f"not on this machine: {', '.join(missing)}")
    with tempfile.TemporaryDirectory(prefix="shortway-image-") as folder:
        check(Store(Path(folder)))


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    main()
