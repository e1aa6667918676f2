"""Every sample of the reference runs against the service, and gives what the reference shows.

curl, Python and node run the text that stands on the page; only the service's address is another.
"""

from __future__ import annotations

import ast
import json
import subprocess
from collections.abc import Iterator
from contextlib import redirect_stdout
from io import StringIO
from shutil import which
from typing import Any

import pytest

from docs import blocks as doc_blocks
from shortway.docs.reference import Example, operations
from shortway.docs.samples import BASE, JSON
from support.loopback import served
from support.tables import each_row

DOCUMENT = json.loads((doc_blocks.ROOT / "openapi/openapi.json").read_text("utf-8"))
EXAMPLES = [
    (f"{call.id}: {example.summary}", example)
    for call in operations(DOCUMENT)
    for example in call.examples
]
#: Printed before node runs the samples: one line of JSON each.
LOG = "console.log = (said) => process.stdout.write(JSON.stringify(said) + '\\n');\n"


@pytest.fixture(scope="module")
def service() -> Iterator[str]:
    with served(doc_blocks.app()) as address:
        yield address


def code(example: Example, language: str, service: str) -> str:
    """A sample that calls the service that runs."""
    text = dict(example.samples)[language]
    assert BASE in text
    return text.replace(BASE, service)


def compare(example: Example, said: Any) -> None:
    """What a sample gives is what stands below it; some tell what is installed here."""
    if example.call.path == "/readyz":
        said["search"] = json.loads(example.answer)["search"]
    if not example.answer:
        assert said
    elif example.call.path != "/openapi.json":
        assert said == (json.loads if example.call.answer == JSON else str)(example.answer)


@pytest.mark.skipif(which("curl") is None, reason="needs curl")
@each_row("name, example", EXAMPLES)
def test_curl(name: str, example: Example, service: str) -> None:
    command = ["bash", "-c", code(example, "curl", service)]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    compare(example, json.loads(said) if example.call.answer == JSON else said)


@each_row("name, example", EXAMPLES)
def test_python(name: str, example: Example, service: str) -> None:
    with redirect_stdout(StringIO()) as out:
        exec(compile(code(example, "Python", service), name, "exec"), {})
    said = out.getvalue()
    compare(example, ast.literal_eval(said) if example.call.answer == JSON else said[:-1])


@pytest.mark.skipif(which("node") is None, reason="needs node")
def test_javascript(service: str) -> None:
    parts = (f"{{\n{code(example, 'JavaScript', service)}}}\n" for _, example in EXAMPLES)
    run = subprocess.run(
        ["node", "--input-type=module"],
        input=LOG + "".join(parts), capture_output=True, text=True, check=True,
    )  # fmt: skip
    said = run.stdout.splitlines()
    assert len(said) == len(EXAMPLES)
    for (_, example), line in zip(EXAMPLES, said, strict=True):
        compare(example, json.loads(line))


def test_every_call_has_an_example_in_three_languages() -> None:
    for call in operations(DOCUMENT):
        assert call.examples, call.id
        for example in call.examples:
            assert [language for language, _ in example.samples] == ["curl", "Python", "JavaScript"]
