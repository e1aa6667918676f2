"""``shortway demo``: a hotel lobby, Saturday, four players, and three tunes from their book.

Starts the real service as a child process on a free loopback port, asks it through the client as
any app would, prints its responses, and stops it. The charts are the page's examples, our own.
"""

import contextlib
import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import click

from shortway.cli.errors import stopped_by_terminate
from shortway.cli.table import format_path
from shortway.page import example_charts
from shortway.scores.display import PICTURES
from shortway.scores.formats import FORMS
from shortway_client import Chart, Client, ShortwayClientError, to_json

HOST = "127.0.0.1"
READY_WITHIN = 30.0
"""Seconds that the service has to get ready."""
STOP_WITHIN = 15.0
"""Seconds that it has to finish."""
SCORES = ("musicxml", "mxl", "midi")
"""Kinds of score that are written, beside pictures."""

INTRODUCTION = """\
The lobby of a small hotel, Saturday, eight o'clock: bass, drums, a saxophone, and you at the
piano. Three tunes are on the stand. Every chord needs its notes under both hands before the
downbeat, near the ones before, so that the fingers walk and do not jump.
"""


class DemoError(Exception):
    """The service did not start, or answered otherwise than it should."""


@dataclass(frozen=True, slots=True)
class ServiceProcess:
    """A service that runs as a child process."""

    url: str
    process: subprocess.Popen[bytes]
    log: IO[bytes]

    def said(self) -> str:
        """What it wrote on its standard error so far."""
        self.log.flush()
        self.log.seek(0)
        return self.log.read().decode(errors="replace").strip()


def run_demo(out: Path | None = None) -> int:
    """The whole demonstration; the exit code of the command.

    Scores go into the folder `out`, or into a new temporary one.
    """
    with stopped_by_terminate() as codes:  # the service, too, is stopped then
        try:
            with running_service() as service, Client(service.url) as client:
                folder = _folder(out)
                play_demo(client, folder)
            click.echo(f"Notes, sound and pictures of all three are in\n{folder}")
        except (DemoError, ShortwayClientError) as error:
            print(f"Error: {error}", file=sys.stderr)
            return 1
        except KeyboardInterrupt:
            print("stopped", file=sys.stderr)
            return codes[-1]
    click.echo("The service has stopped. Your own chart: shortway solve '| Dm7 | G7 | Cmaj7 | % |'")
    return 0


def _folder(out: Path | None) -> Path:
    """The folder for scores, made where it is not there. Raises DemoError."""
    try:
        if out is None:
            return Path(tempfile.mkdtemp(prefix="shortway-demo-"))
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise DemoError(f"no folder for the scores: {error}") from None
    return out


def play_demo(client: Client, folder: Path) -> None:
    """Solve every chart as a loop, print its path, and write it into `folder`. Raises DemoError."""
    click.echo(INTRODUCTION)
    for name, text in example_charts():
        reading = client.read_chart(text)
        path = client.find_path(reading.chart, loop=True)
        if not path.optimal or len(path.steps) != len(reading.steps):
            raise DemoError(f"the answer for {name} is not a whole and optimal path")
        for line in format_path(to_json(path), _heading(to_json(reading.chart))):
            click.echo(line)
        click.echo("")
        _write(client, reading.chart, folder / name.removesuffix(".txt"))


def _write(client: Client, chart: Chart, stem: Path) -> None:
    """The chart's score in every form."""
    scores = {
        stem.with_suffix(FORMS[kind][1]): client.write_score(chart, kind=kind, loop=True)
        for kind in SCORES
    } | {
        stem.with_name(f"{stem.name}-{picture}.svg"): client.write_score(
            chart, kind="svg", picture=picture, loop=True
        )
        for picture in PICTURES
    }
    try:
        for path, content in scores.items():
            path.write_bytes(content)
    except OSError as error:
        raise DemoError(f"a score cannot be written: {error}") from None


def _heading(chart: dict[str, Any]) -> str:
    count = len(chart.get("order", chart["measures"]))
    return f"{chart['title']}, key {chart['key']}, {chart['meter']}, {count} measures, looped"


@contextlib.contextmanager
def running_service() -> Iterator[ServiceProcess]:
    """The real service, ready, on a free loopback port; stopped on the way out.

    Raises DemoError if it ended, or was not ready in time.
    """
    port = _free_port()
    command = [sys.executable, "-m", "shortway", "serve", "--host", HOST, "--port", str(port)]
    environment = {k: v for k, v in os.environ.items() if not k.startswith("SHORTWAY_")}
    with tempfile.TemporaryFile() as log:
        process = subprocess.Popen(
            [*command, "--workers", "1"],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            env=environment,
            start_new_session=True,  # Ctrl-C reaches us alone, and we stop it in order
        )
        service = ServiceProcess(f"http://{HOST}:{port}", process, log)
        try:
            _wait_until_ready(service)
            yield service
        finally:
            _stop(process)


def _free_port() -> int:
    with socket.create_server((HOST, 0)) as server:
        port: int = server.getsockname()[1]
        return port


def _wait_until_ready(service: ServiceProcess) -> None:
    deadline = time.monotonic() + READY_WITHIN
    with Client(service.url, timeout=2.0, retries=0) as client:
        while time.monotonic() < deadline:
            if service.process.poll() is not None:
                raise DemoError(f"the service ended before it was ready:\n{service.said()}")
            with contextlib.suppress(ShortwayClientError):
                client.get_readiness()
                return
            time.sleep(0.05)
    raise DemoError(f"the service was not ready in {READY_WITHIN:.0f} s:\n{service.said()}")


def _stop(process: subprocess.Popen[bytes]) -> None:
    if process.poll() is None:
        process.terminate()
    try:
        process.wait(STOP_WITHIN)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
