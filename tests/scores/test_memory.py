"""What a worker weighs that has rendered scores: at most 400 MB, a limit of our own."""

from __future__ import annotations

import subprocess
import sys

import pytest

pytestmark = pytest.mark.slow

MOST_MB = 400

# the peak of this very program: ru_maxrss would count what started it, too
WORK = """
from pathlib import Path
from shortway.api import create_app
client = create_app().test_client()
chart = {"measures": [[{"symbol": s}] for s in ["Dm9", "G13", "Cmaj9", "A7b9"] * 64]}
for kind in ("application/vnd.recordare.musicxml+xml", "audio/midi", "image/svg+xml"):
    for picture in ("staff", "keyboards", "lines"):
        body = {"chart": chart, "show": {"picture": picture, "degrees": True}}
        said = client.post("/v1/scores", json=body, headers={"Accept": kind})
        assert said.status_code == 200, said.data
status = Path("/proc/self/status").read_text()
print(int(status.partition("VmHWM:")[2].split()[0]) // 1024)
"""


def test_a_worker_that_rendered_every_form_stays_small() -> None:
    run = subprocess.run([sys.executable, "-c", WORK], capture_output=True, text=True, check=True)
    assert 30 < int(run.stdout) < MOST_MB
