"""The manifests: by Kubernetes' own schemas, and by what no schema can say.

Schemas: kubernetes-validate, made of each version's published API. The restricted profile:
Kubernetes' Pod Security Standards. Kustomization files have no schema there, and no cluster has
run any of it.
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import kubernetes_validate
import pytest

from containers import manifests as files
from shortway import config as settings
from shortway.api import create_app
from shortway.api.middleware import token_store as tokens
from support.tables import each_row

ROWS = [
    row for name, rows in files.manifests().items() for row in rows if name != "kustomization.yaml"
]
DEPLOYMENTS = ("shortway", "redis")
PROBES = ("startupProbe", "livenessProbe", "readinessProbe")


@each_row("version", ["1.29", kubernetes_validate.latest_version()])
@each_row("row", ROWS)
def test_schema(row: files.Manifest, version: str) -> None:
    kubernetes_validate.validate(row, version, strict=True)


def test_schema_would_find_a_slip() -> None:
    row = files.resource("Deployment")
    row["spec"]["template"]["spec"]["containers"][0]["readinessProb"] = {}
    with pytest.raises(kubernetes_validate.ValidationError, match="readinessProb"):
        kubernetes_validate.validate(row, "1.29", strict=True)


def test_kustomization_has_every_file_but_the_example() -> None:
    (top,) = files.manifests()["kustomization.yaml"]
    others = set(files.manifests()) - {"kustomization.yaml", "secret.example.yaml"}
    assert set(top["resources"]) == others
    assert top["namespace"] == files.resource("Namespace")["metadata"]["name"]


def test_the_image_is_of_this_version() -> None:
    (top,) = files.manifests()["kustomization.yaml"]
    project = tomllib.loads((files.DOCKER.parent / "pyproject.toml").read_text())["project"]
    (image,) = top["images"]
    assert (image["name"], image["newTag"]) == (files.container()["image"], project["version"])


@pytest.mark.parametrize("name", DEPLOYMENTS)
def test_restricted_profile(name: str) -> None:
    pod, container = files.pod(name), files.container(name)
    assert pod["securityContext"]["runAsNonRoot"] is True
    assert pod["securityContext"]["runAsUser"] > 0
    assert pod["securityContext"]["seccompProfile"]["type"] == "RuntimeDefault"
    assert container["securityContext"] == {
        "allowPrivilegeEscalation": False,
        "readOnlyRootFilesystem": True,
        "capabilities": {"drop": ["ALL"]},
    }
    assert pod["automountServiceAccountToken"] is False
    assert set(container["resources"]) == {"requests", "limits"}


@pytest.mark.parametrize("name", DEPLOYMENTS)
def test_selectors_find_the_pods(name: str) -> None:
    deployment = files.resource("Deployment", name)["spec"]
    labels = deployment["template"]["metadata"]["labels"].items()
    policy = files.resource("NetworkPolicy", name)["spec"]["podSelector"]["matchLabels"]
    for selector in (
        deployment["selector"]["matchLabels"],
        files.resource("Service", name)["spec"]["selector"],
        policy,
    ):
        assert selector.items() <= labels


def test_two_at_the_least_and_one_may_go() -> None:
    scaler = files.resource("HorizontalPodAutoscaler")["spec"]
    assert scaler["scaleTargetRef"]["name"] == "shortway"
    assert "replicas" not in files.resource("Deployment")["spec"]
    budget = files.resource("PodDisruptionBudget")["spec"]
    assert scaler["minReplicas"] >= 2 > budget["maxUnavailable"]
    labels = files.resource("Deployment")["spec"]["template"]["metadata"]["labels"]
    assert budget["selector"]["matchLabels"].items() <= labels.items()


@pytest.mark.parametrize("name", DEPLOYMENTS)
def test_ports_agree(name: str) -> None:
    ports = {row["name"]: row["containerPort"] for row in files.container(name)["ports"]}
    (service,) = files.resource("Service", name)["spec"]["ports"]
    (rule,) = files.resource("NetworkPolicy", name)["spec"]["ingress"]
    assert service["targetPort"] in ports
    assert {row["port"] for row in rule["ports"]} <= set(ports)
    for probe in PROBES:
        action = files.container(name)[probe]
        kind = next((action[k] for k in ("httpGet", "tcpSocket") if k in action), None)
        assert kind is None or kind["port"] in ports


def test_the_service_listens_where_it_is_asked() -> None:
    (port,) = files.container()["ports"]
    assert port["containerPort"] == settings.load_config(files.environment(files.container())).port
    notes = files.resource("Deployment")["spec"]["template"]["metadata"]["annotations"]
    assert notes["prometheus.io/port"] == str(port["containerPort"])


def test_probes_and_scrapes_ask_for_what_there_is() -> None:
    notes = files.resource("Deployment")["spec"]["template"]["metadata"]["annotations"]
    paths = {files.container()[probe]["httpGet"]["path"] for probe in PROBES}
    client = create_app().test_client()
    for path in {*paths, notes["prometheus.io/path"]}:
        assert client.get(path).status_code == 200, path


def test_probes_need_no_token(tmp_path: Path) -> None:
    (tmp_path / "tokens").write_text(tokens.token_line("somebody", tokens.generate_token()))
    client = create_app({"TOKENS_FILE": str(tmp_path / "tokens")}).test_client()
    for probe in PROBES:
        assert client.get(files.container()[probe]["httpGet"]["path"]).status_code == 200


def test_environment_can_be_read() -> None:
    given = files.environment(files.container())
    known = {settings.variable_name(name) for name, _ in settings.variables()}
    assert set(given) <= known
    assert settings.load_config(given).redis_url == redis_url()


def redis_url() -> str:
    """Where the Service redis is."""
    (port,) = files.resource("Service", "redis")["spec"]["ports"]
    return f"redis://redis:{port['port']}/0"


def test_a_stopping_pod_has_the_time_it_takes() -> None:
    given = settings.load_config(files.environment(files.container()))
    (_, before) = files.container()["lifecycle"]["preStop"]["exec"]["command"]
    longest = int(before) + given.graceful_seconds
    assert files.pod()["terminationGracePeriodSeconds"] > longest
    probe = files.container()["readinessProbe"]
    assert int(before) > probe["periodSeconds"] * probe["failureThreshold"]


def test_no_variable_of_a_service_is_taken_for_a_setting() -> None:
    assert files.pod()["enableServiceLinks"] is False
    with pytest.raises(settings.ConfigurationError, match="SHORTWAY_PORT"):
        settings.load_config({"SHORTWAY_PORT": "tcp://10.96.0.7:80"})


def test_tokens_are_mounted_where_they_are_read() -> None:
    path = Path(settings.load_config(files.environment(files.container())).tokens_file)
    mounts = {row["mountPath"]: row["name"] for row in files.container()["volumeMounts"]}
    volumes: dict[str, Any] = {row["name"]: row for row in files.pod()["volumes"]}
    secret = volumes[mounts[str(path.parent)]]["secret"]
    example = files.resource("Secret", secret["secretName"])
    assert path.name in example["stringData"]


def test_the_example_lets_nobody_in() -> None:
    example = files.resource("Secret", "shortway-tokens")["stringData"]["tokens"]
    with pytest.raises(tokens.TokenFileError):
        tokens.parse_tokens(example)


def test_egress_is_names_and_redis() -> None:
    rules = files.resource("NetworkPolicy")["spec"]["egress"]
    assert [[port["port"] for port in rule["ports"]] for rule in rules] == [[53, 53], [6379]]
    assert "0.0.0.0" not in json.dumps(rules)
    labels = files.resource("Deployment", "redis")["spec"]["template"]["metadata"]["labels"]
    assert rules[1]["to"][0]["podSelector"]["matchLabels"].items() <= labels.items()
