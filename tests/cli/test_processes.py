"""The commands as processes of their own: the service, the demo, and what a cold start loads."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from shortway.cli import demo
from shortway.config import load_config
from shortway.serving.gunicorn_settings import gunicorn_options
from shortway_client import Client

PYTHON = (sys.executable, "-W", "error", "-m", "shortway")
LONG = 60


@contextmanager
def service(*options: str, **environment: str) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [*PYTHON, "serve", *options],
        env=os.environ | environment,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        yield process
    finally:
        if process.poll() is None:
            process.terminate()
        process.communicate(timeout=LONG)


def test_serve_listens_where_it_is_told_and_stops_in_order() -> None:
    port = demo._free_port()
    options = ("--port", str(port), "--workers", "1")
    with service(*options, SHORTWAY_PORT="1", SHORTWAY_WORKERS="2") as process:
        with Client(f"http://127.0.0.1:{port}", retries=12) as client:
            assert client.get_health().status == "ok"
            assert client.find_path("| Dm7 | G7 | Cmaj7 |").optimal
        process.terminate()
        _, log = process.communicate(timeout=LONG)
        assert process.returncode == 0
        assert log.count("Booting worker") == 1


def test_serve_takes_the_environment() -> None:
    port = demo._free_port()
    with service(SHORTWAY_PORT=str(port), SHORTWAY_WORKERS="2") as process:
        with Client(f"http://127.0.0.1:{port}", retries=12) as client:
            client.get_readiness()
        process.terminate()
        _, log = process.communicate(timeout=LONG)
        assert log.count("Booting worker") == 2


@pytest.mark.slow
def test_the_demo_runs_to_its_end(tmp_path: Path) -> None:
    result = subprocess.run(
        [*PYTHON, "demo", "--out", str(tmp_path / "new")],
        capture_output=True, text=True, timeout=LONG, check=False,
    )  # fmt: skip
    written = list((tmp_path / "new").iterdir())
    assert sorted({f.suffix for f in written}) == [".mid", ".musicxml", ".mxl", ".svg"]
    assert len(written) == 3 * 6
    assert all(f.stat().st_size > 100 for f in written)
    assert (result.returncode, result.stderr) == (0, "")
    for title in ("Brass Key Blues", "Room Forty-One", "Last Tram Home"):
        assert title in result.stdout
    assert len(re.findall(r"^Cost \d+, motion \d+ semitones", result.stdout, re.M)) == 3
    lines = [line for line in result.stdout.split("\n") if line != str(tmp_path / "new")]
    assert max(map(len, lines)) <= 100


@pytest.mark.slow
def test_a_demo_without_a_place_for_scores_says_so(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    out = str(tmp_path / "file" / "below")
    result = subprocess.run(
        [*PYTHON, "demo", "--out", out], capture_output=True, text=True, timeout=LONG, check=False
    )
    assert result.returncode == 1
    assert result.stderr.startswith("Error: no folder for the scores")


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_the_demo_stops_its_service_when_interrupted(number: int) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", INTERRUPTED_DEMO], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    child = int(process.stdout.readline())
    process.send_signal(number)
    process.communicate(timeout=LONG)
    assert process.returncode == 128 + number
    with pytest.raises(ProcessLookupError):
        os.kill(child, 0)


INTERRUPTED_DEMO = """
import sys, time
from shortway.cli import demo
def play_demo(client, folder):
    time.sleep(60)
def running_service(real=demo.running_service):
    import contextlib
    @contextlib.contextmanager
    def shown():
        with real() as service:
            print(service.process.pid, flush=True)
            yield service
    return shown()
demo.play_demo, demo.running_service = play_demo, running_service
sys.exit(demo.run_demo())
"""


def test_a_service_that_cannot_start_fails_the_demo(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(demo, "_free_port", lambda: 99_999)
    assert demo.run_demo() == 1
    assert "ended before it was ready" in capsys.readouterr().err


def test_solving_loads_neither_service_nor_client() -> None:
    code = (
        "import sys; from shortway.cli import main\n"
        "try: main(['solve', '| Dm7 | G7 |'])\n"
        "except SystemExit as end: assert not end.code\n"
        "print(*sorted({name.partition('.')[0] for name in sys.modules}))"
    )
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=LONG, check=True
    )
    loaded = set(result.stdout.split("\n")[-2].split())
    assert {"click", "numpy", "shortway"} <= loaded
    assert not loaded & {"flask", "marshmallow", "gunicorn", "music21", "requests"}
    assert "shortway_client" not in loaded


@pytest.mark.slow
def test_many_may_ask_at_once() -> None:
    answers: list[int] = []

    def ask(url: str) -> None:
        with Client(url) as client:
            answers.append(client.find_path("| Dm7 | G7 | Cmaj7 | % |").motion)

    with demo.running_service() as running:
        threads = [threading.Thread(target=ask, args=(running.url,)) for _ in range(12)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert len(answers) == 12
    assert len(set(answers)) == 1


@pytest.mark.slow
def test_the_container_has_the_packages_settings() -> None:
    conf = Path(__file__).parents[2] / "docker" / "gunicorn.conf.py"
    command = [sys.executable, "-m", "gunicorn", "--print-config", "--config", str(conf)]
    environment = os.environ | {"SHORTWAY_WORKERS": "3", "SHORTWAY_PORT": "8080"}
    unwitting = subprocess.run(
        command, env=environment, capture_output=True, text=True, timeout=LONG, check=False
    )
    assert unwitting.returncode == 1
    assert unwitting.stderr.startswith("Error: listening on 0.0.0.0 serves every client")
    assert len(unwitting.stderr.splitlines()) == 1
    environment["SHORTWAY_OPEN"] = "1"
    result = subprocess.run(
        command, env=environment, capture_output=True, text=True, timeout=LONG, check=True
    )
    found = dict(line.split("=", 1) for line in result.stdout.split("\n") if "=" in line)
    found = {name.strip(): value.strip() for name, value in found.items()}
    assert found["bind"] == "['0.0.0.0:8080']"
    assert found["workers"] == "3"
    assert found["worker_class"] == "gthread"
    assert found["timeout"] == str(gunicorn_options(load_config({}))["timeout"])
