"""compose.yaml: by the Compose specification, and by what it cannot say.

Checked by compose-spec, a strict reader of the specification. No container engine has run it; what
it puts together runs as processes in test_topology.py.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
import yaml
from compose_spec import PyCompose

from containers import manifests as files
from shortway import config as settings
from shortway.wire.problems import PROBLEMS, problem

SERVICES = files.compose()["services"]
REPLICAS = [name for name in SERVICES if name.startswith("shortway-")]
NGINX = (files.DOCKER / "nginx.conf").read_text()


def test_specification() -> None:
    # Its anchors followed first: that reader does not know YAML's merge keys, which Compose does.
    read = PyCompose.from_yaml(yaml.safe_dump(files.compose()))
    assert set(read.service_names()) == set(SERVICES)


def test_specification_would_find_a_slip() -> None:
    slip = files.compose()
    slip["services"]["redis"]["read_onyl"] = True
    with pytest.raises(ValueError, match="read_onyl"):
        PyCompose.from_yaml(yaml.safe_dump(slip))


@pytest.mark.parametrize("name", SERVICES)
def test_shut(name: str) -> None:
    service = SERVICES[name]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert service["healthcheck"]["test"][0] == "CMD"
    assert set(service["deploy"]["resources"]["limits"]) == {"cpus", "memory", "pids"}
    uid = service.get("user", "10001:10001").partition(":")[0]  # else the image's own
    assert int(uid) > 0


def test_nobody_outside_reaches_more_than_nginx_and_that_on_this_machine() -> None:
    ports = {name: service["ports"] for name, service in SERVICES.items() if "ports" in service}
    assert list(ports) == ["nginx"]
    assert all(port.startswith("127.0.0.1:") for port in ports["nginx"])
    assert files.compose()["networks"]["inside"]["internal"] is True


def test_nginx_sends_to_the_replicas() -> None:
    addresses = [SERVICES[name]["networks"]["inside"]["ipv4_address"] for name in REPLICAS]
    port = settings.load_config(files.environment(SERVICES[REPLICAS[0]])).port
    assert re.findall(r"server (\S+:\d+)", NGINX) == [f"{address}:{port}" for address in addresses]
    assert len(addresses) == 2
    (listen,) = re.findall(r"listen (\d+);", NGINX)
    assert SERVICES["nginx"]["ports"] == [f"127.0.0.1:{listen}:{listen}"]


@pytest.mark.parametrize("name", REPLICAS)
def test_environment_can_be_read(name: str) -> None:
    given = files.environment(SERVICES[name])
    assert set(given) <= {settings.variable_name(known) for known, _ in settings.variables()}
    read = settings.load_config(given)
    assert Path(read.tokens_file) == Path("/run/secrets") / SERVICES[name]["secrets"][0]
    address = SERVICES["redis"]["networks"]["inside"]["ipv4_address"]
    assert read.redis_url == f"redis://:secret@{address}:6379/0"
    assert read.trusted_proxies == 1


def test_redis_has_a_password_and_replicas_look_up_no_name() -> None:
    command = SERVICES["redis"]["command"]
    assert command[command.index("--requirepass") + 1] == "secret"
    assert SERVICES["redis"]["environment"] == {"REDISCLI_AUTH": "secret"}
    assert [SERVICES[name]["dns"] for name in REPLICAS] == [["127.0.0.1"]] * 2


@pytest.mark.parametrize("name", REPLICAS)
def test_a_stopping_replica_has_the_time_it_takes(name: str) -> None:
    read = settings.load_config(files.environment(SERVICES[name]))
    grace = int(SERVICES[name]["stop_grace_period"].removesuffix("s"))
    assert grace > read.graceful_seconds


def test_nginx_lets_go_of_a_connection_before_gunicorn_does() -> None:
    from shortway.serving.gunicorn_settings import gunicorn_options as gunicorn

    mine = gunicorn(settings.load_config({}))
    (upstream,) = re.findall(r"upstream shortway \{.*?\n    \}", NGINX, re.S)
    (idle,) = re.findall(r"keepalive_timeout (\d+)s", upstream)
    assert int(idle) < mine["keepalive"]
    (longest,) = re.findall(r"proxy_read_timeout +(\d+)s", NGINX)
    assert int(longest) > mine["timeout"]
    (again,) = re.findall(r"proxy_next_upstream_timeout +(\d+)s", NGINX)
    assert mine["graceful_timeout"] < int(again) < settings.load_config({}).deadline_seconds


def test_what_nginx_says_itself_is_a_problem_as_the_service_says_it() -> None:
    said = re.findall(r"return (\d+) '(.+)';", NGINX)
    assert len(said) == 10
    for status, text in said:
        found = json.loads(text)
        number, title = PROBLEMS[found["code"]]
        assert (number, found["title"]) == (int(status), title)
        assert found == problem(found["code"], found["detail"])


def test_a_client_without_a_token_has_fewer_connections_than_a_process_has_threads() -> None:
    """So that one address never holds all of them; and nginx has files for all of its own."""
    (most,) = re.findall(r"limit_conn connections_without_token (\d+);", NGINX)
    (files_,) = re.findall(r"worker_rlimit_nofile (\d+);", NGINX)
    (connections,) = re.findall(r"worker_connections (\d+);", NGINX)
    assert int(most) < settings.load_config({}).threads
    assert int(files_) > 2 * int(connections)
    assert SERVICES["nginx"]["ulimits"]["nofile"] == int(files_)
