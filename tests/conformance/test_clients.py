"""Clients that generators make of the document, checked by their languages' own type checkers and
used for one path and one refusal of the running service.

TypeScript by openapi-typescript (its versions in clients/package-lock.json), Python by
openapi-python-client in an environment of its own. Both come over the network, so they are made
only where SHORTWAY_NEED_CLIENTS is set, as .ci/run does; there nothing is skipped.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import venv
from pathlib import Path
from typing import Any
from urllib.request import Request, urlopen

import pytest

pytestmark = pytest.mark.skipif(
    not os.environ.get("SHORTWAY_NEED_CLIENTS"),
    reason="SHORTWAY_NEED_CLIENTS asks for generated clients",
)

DOCUMENT = Path(__file__).parents[2] / "openapi" / "openapi.json"
CLIENTS = Path(__file__).parent / "clients"
#: Without it, fields of a request that have a default would be needed.
OPTIONAL = "--default-non-nullable=false"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with copies of the clients' own files."""
    return Path(shutil.copytree(CLIENTS, tmp_path / "clients"))


def run(folder: Path, *command: str) -> str:
    """What `command` prints; it has to succeed, and says why where it does not."""
    done = subprocess.run(command, cwd=folder, stdout=subprocess.PIPE, text=True)
    assert done.returncode == 0, done.stdout
    return done.stdout


def expected(url: str) -> dict[str, Any]:
    """What both clients have to print, by plain HTTP."""
    setting = {"hands": "left"}
    sent = json.dumps({"chart": {"text": "| Fm7 | N.C. | Bb7 |"}, "setting": setting}).encode()
    with urlopen(Request(f"{url}/v1/paths", sent, {"Content-Type": "application/json"})) as said:
        path = json.load(said)
    played = [step["voicing"] and step["voicing"]["midi_notes"] for step in path["steps"]]
    refused = {"code": "symbol-unreadable", "pointers": ["/chart"]}
    return {"total": path["motion"], "played": played, **refused}


def test_typescript(folder: Path, url: str) -> None:
    run(folder, "npm", "ci", "--no-audit", "--no-fund")
    bin = folder / "node_modules" / ".bin"
    run(folder, str(bin / "redocly"), "lint", "--extends=recommended", str(DOCUMENT))
    run(folder, str(bin / "openapi-typescript"), str(DOCUMENT), OPTIONAL, "-o", "api.ts")
    run(folder, str(bin / "tsc"))
    assert json.loads(run(folder, "node", "use.js", url)) == expected(url)


def test_python(folder: Path, url: str) -> None:
    venv.create(folder / "env", with_pip=True)
    python = str(folder / "env" / "bin" / "python")
    run(folder, python, "-m", "pip", "install", "-q", "-r", "requirements.txt")
    command = ["generate", "--path", str(DOCUMENT), "--config", "python.yaml", "--meta", "none"]
    run(folder, python, "-m", "openapi_python_client", *command, "--output-path", "generated")
    run(folder, python, "-m", "mypy", "--strict", "generated", "use.py")
    assert json.loads(run(folder, python, "use.py", url)) == expected(url)
