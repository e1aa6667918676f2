"""Clients that two other makers' generators make of the document as it is, compiled by their
languages' own compilers and used on the running service: a symbol, a path, a score as bytes and a
typed problem.

openapi-generator (a Java archive from PyPI) makes Go, Java, Python and TypeScript,
openapi-typescript types alone. What they need comes over the network, so they are made only where
SHORTWAY_NEED_CLIENTS is set, as .ci/run does; there nothing is skipped.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import venv
from hashlib import sha256
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
GENERATOR = Path(sys.executable).parent / "openapi-generator-cli"
#: What openapi-generator makes clients in, with options.
LANGUAGES: dict[str, dict[str, Any]] = {
    "go": {},
    "java": {"library": "native", "openApiNullable": False, "useJakartaEe": True},
    "python": {},
    "typescript-fetch": {},
    "csharp": {},
    "kotlin": {},
}
#: Without it, fields of a request that have a default would be needed.
OPTIONAL = "--default-non-nullable=false"


def run(folder: Path, *command: str, **environment: str) -> str:
    """What `command` prints; it has to succeed, and says why where it does not."""
    env = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"} | environment
    done = subprocess.run(command, cwd=folder, env=env, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with copies of the clients' uses, and what TypeScript needs."""
    return Path(shutil.copytree(CLIENTS, tmp_path_factory.mktemp("made") / "clients"))


@pytest.fixture(scope="module")
def made(folder: Path) -> dict[str, Path]:
    """The clients of openapi-generator by language, all made at once, with its defaults."""
    places = {language: folder / f"made-{language}" for language in LANGUAGES}
    places["typescript-fetch"] = folder / "fetch/generated"
    for language, options in LANGUAGES.items():
        config = {
            "generatorName": language, "inputSpec": str(DOCUMENT),
            "outputDir": str(places[language]), "additionalProperties": options,
        }  # fmt: skip
        (folder / f"{language}.json").write_text(json.dumps(config))
    run(folder, str(GENERATOR), "batch", *(f"{language}.json" for language in LANGUAGES))
    return places


@pytest.fixture(scope="module")
def npm(folder: Path) -> Path:
    """The folder of what npm installed."""
    run(folder, "npm", "ci", "--no-audit", "--no-fund")
    return folder / "node_modules" / ".bin"


def posted(url: str, path: str, body: dict[str, Any]) -> bytes:
    """An answer by plain HTTP."""
    sent = Request(url + path, json.dumps(body).encode(), {"Content-Type": "application/json"})
    with urlopen(sent) as said:
        return bytes(said.read())


def expected(url: str) -> dict[str, Any]:
    """What every client has to print."""
    body = {"chart": {"text": "| Fm7 | N.C. | Bb7 |"}, "setting": {"hands": "left"}}
    path = json.loads(posted(url, "/v1/paths", body))
    return {
        "bass": "Gb",
        "motion": path["motion"],
        "played": [step["midi_notes"] for step in path["steps"]],
        "score": sha256(posted(url, "/v1/scores", body | {"format": "midi"})).hexdigest(),
        "code": "symbol-unreadable",
        "pointer": "/chart/text",
    }


def test_the_document_is_valid_for_the_generator(folder: Path) -> None:
    said = run(folder, str(GENERATOR), "validate", "-i", str(DOCUMENT))
    assert "Errors" not in said


def test_go(folder: Path, made: dict[str, Path], url: str) -> None:
    client = made["go"]
    shutil.rmtree(client / "test")  # it alone needs a package from elsewhere
    shutil.copytree(folder / "go", client / "use")
    alone = {"GOPROXY": "off", "GOFLAGS": "-mod=mod"}
    run(client, "go", "vet", ".", **alone)
    assert json.loads(run(client, "go", "run", "./use", url, **alone)) == expected(url)


def test_java(folder: Path, made: dict[str, Path], url: str) -> None:
    """With Debian's packages; what they lack reads dates, and the document has none."""
    sources = made["java"] / "src/main/java"
    for name in ("RFC3339InstantDeserializer", "RFC3339JavaTimeModule"):
        (sources / f"org/openapitools/client/{name}.java").unlink()
    for name in ("ApiClient", "JSON"):
        source = sources / f"org/openapitools/client/{name}.java"
        lines = source.read_text().splitlines()
        source.write_text("\n".join(line for line in lines if "JavaTimeModule" not in line))
    names = ("jackson-core", "jackson-databind", "jackson-annotations", "jakarta-annotation-api")
    path = ":".join(["classes", *(f"/usr/share/java/{name}.jar" for name in names)])
    every = [str(source) for source in (*sources.rglob("*.java"), folder / "java/Use.java")]
    run(folder, "javac", "-nowarn", "-cp", path, "-d", "classes", *every)
    assert json.loads(run(folder, "java", "-cp", path, "Use", url)) == expected(url)


@pytest.mark.parametrize("language", ["csharp", "kotlin"])
def test_languages_without_a_compiler_in_debian(made: dict[str, Path], language: str) -> None:
    """They are generated without a complaint about the document."""
    assert any(made[language].rglob("*VoicingPath.*"))


def test_python(folder: Path, made: dict[str, Path], url: str) -> None:
    venv.create(folder / "env", with_pip=True)
    python = str(folder / "env" / "bin" / "python")
    wanted = str(made["python"] / "requirements.txt")
    run(folder, python, "-m", "pip", "install", "-q", "-r", wanted)
    said = run(folder, python, "python/use.py", url, PYTHONPATH=str(made["python"]))
    assert json.loads(said) == expected(url)


@pytest.mark.usefixtures("made")
def test_typescript(folder: Path, npm: Path, url: str) -> None:
    run(folder / "fetch", str(npm / "tsc"))
    assert json.loads(run(folder / "fetch", "node", "use.js", url)) == expected(url)


def test_types_by_another_maker(folder: Path, npm: Path, url: str) -> None:
    run(folder, str(npm / "redocly"), "lint", "--extends=recommended", str(DOCUMENT))
    command = ("openapi-typescript", str(DOCUMENT), OPTIONAL, "-o", "types/api.ts")
    run(folder, str(npm / command[0]), *command[1:])
    run(folder / "types", str(npm / "tsc"))
    assert json.loads(run(folder / "types", "node", "use.js", url)) == expected(url)
