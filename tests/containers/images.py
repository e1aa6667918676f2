"""Images and containers with no engine: buildah builds, runc runs.

Knows nothing of what is in an image but what the image says of itself.
"""

from __future__ import annotations

import json
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

#: Debian's packages that are needed, by their commands.
NEEDED = ("mmdebstrap", "buildah", "runc")
_UNREAD = [f"path-exclude=/usr/share/{name}/*" for name in ("doc", "locale", "man")]
_TMPFS = ["nosuid", "nodev", "mode=1777", "size=64m"]


def said(*command: str | Path) -> str:
    """What a command prints; it has to succeed."""
    return subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout.strip()


@dataclass(frozen=True)
class Store:
    """Images in a folder of their own."""

    folder: Path

    def buildah(self, *arguments: str | Path) -> str:
        places = ("--root", self.folder / "images", "--runroot", self.folder / "run")
        return said("buildah", *places, "--storage-driver", "vfs", *arguments)

    def make_base(self, name: str, packages: str) -> None:
        """An image of Debian bookworm with `packages`, the manuals left out."""
        archive = self.folder / "base.tar"
        leaving = [f"--dpkgopt={option}" for option in _UNREAD]
        options = ("--quiet", "--variant=minbase", f"--include={packages}", *leaving)
        said("mmdebstrap", *options, "bookworm", archive)
        container = self.buildah("from", "scratch")
        self.buildah("add", "--quiet", container, archive, "/")
        self.buildah("commit", "--quiet", "--rm", container, name)
        archive.unlink()

    def build(self, name: str, dockerfile: Path, context: Path, base: str) -> None:
        """Build on `base`; pip asks whom it asks here, of which the image keeps nothing."""
        options = ["--quiet", "--isolation", "chroot", "--format", "docker"]
        options += ["--volume", "/etc/ssl/certs:/etc/ssl/certs:ro", "--build-arg", f"BASE={base}"]
        if Path("/etc/pip.conf").exists():
            options += ["--secret", "id=pip.conf,src=/etc/pip.conf"]
        self.buildah("build", *options, "--file", dockerfile, "--tag", name, context)

    def config(self, name: str) -> dict[str, Any]:
        """What an image says of itself."""
        found = json.loads(self.buildah("inspect", "--type", "image", name))
        config: dict[str, Any] = found["Docker"]["config"]
        return config

    def size(self, name: str) -> str:
        """What an image takes unpacked, in buildah's words."""
        found: str = json.loads(self.buildah("images", "--json", name))[0]["size"]
        return found

    @contextmanager
    def running(
        self,
        name: str,
        environment: dict[str, str],
        files: dict[str, Path],
        limits: dict[str, Any],
    ) -> Iterator[Container]:
        """An image as a container with `files` in it, removed at the end."""
        made = self.buildah("from", name)
        folder = self.folder / "bundle"
        folder.mkdir()
        root = self.buildah("mount", made)
        _write_bundle(folder, root, self.config(name), environment, files, limits)
        process = subprocess.Popen(["runc", "run", "--bundle", str(folder), folder.parent.name])
        try:
            yield Container(folder.parent.name, process)
        finally:
            command = ["runc", "delete", "--force", folder.parent.name]
            subprocess.run(command, stderr=subprocess.DEVNULL, check=False)
            process.wait(timeout=30)
            self.buildah("rm", made)


@dataclass(frozen=True)
class Container:
    """A running container."""

    name: str
    process: subprocess.Popen[bytes]

    def inside(self, *command: str) -> str:
        """What a command prints in it."""
        return said("runc", "exec", self.name, *command)

    def send(self, stop_signal: str) -> None:
        said("runc", "kill", self.name, stop_signal)


def _write_bundle(
    folder: Path,
    root: str,
    config: dict[str, Any],
    environment: dict[str, str],
    files: dict[str, Path],
    limits: dict[str, Any],
) -> None:
    """An OCI bundle: read-only but for /tmp and /dev/shm, no capability, this machine's network."""
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
    kept = ("/proc", "/dev", "/dev/shm")
    spec["mounts"] = [
        *(mount for mount in spec["mounts"] if mount["destination"] in kept),
        {"destination": "/tmp", "type": "tmpfs", "source": "tmpfs", "options": _TMPFS},
        *(
            {"destination": at, "type": "bind", "source": str(path), "options": ["bind", "ro"]}
            for at, path in files.items()
        ),
    ]
    spec["linux"]["resources"] = limits
    spec["linux"]["namespaces"] = [{"type": kind} for kind in ("pid", "ipc", "uts", "mount")]
    (folder / "config.json").write_text(json.dumps(spec))
