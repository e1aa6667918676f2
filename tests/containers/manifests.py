"""The files of docker/ as values."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import yaml

DOCKER = Path(__file__).parents[2] / "docker"
KUBERNETES = DOCKER / "kubernetes"

Manifest = dict[str, Any]


def compose() -> Manifest:
    """compose.yaml, its anchors followed and its variable set."""
    text = (DOCKER / "compose.yaml").read_text().replace("${REDIS_PASSWORD:?}", "secret")
    found: Manifest = yaml.safe_load(text)
    return found


def manifests() -> dict[str, list[Manifest]]:
    """What each file of kubernetes/ holds."""
    return {
        path.name: list(yaml.safe_load_all(path.read_text()))
        for path in sorted(KUBERNETES.glob("*.yaml"))
    }


def resource(kind: str, name: str = "shortway") -> Manifest:
    """One resource of kubernetes/."""
    (found,) = [
        each
        for rows in manifests().values()
        for each in rows
        if each["kind"] == kind and each.get("metadata", {}).get("name") == name
    ]
    return found


def pod(name: str = "shortway") -> Manifest:
    """The pod of a Deployment."""
    found: Manifest = resource("Deployment", name)["spec"]["template"]["spec"]
    return found


def container(name: str = "shortway") -> Manifest:
    """The one container of a Deployment."""
    (found,) = pod(name)["containers"]
    return dict(found)


def environment(of: Manifest) -> dict[str, str]:
    """What a container of a pod, or a service of compose.yaml, has in its environment."""
    given = of.get("env") or of.get("environment") or []
    if isinstance(given, dict):
        return given
    return {row["name"]: row["value"] for row in given}
