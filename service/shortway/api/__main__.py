"""``python -m shortway.api`` prints the OpenAPI document.

With ``--write DIR`` it writes openapi.json and examples/ below DIR.
"""

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from flask import Flask

from shortway.api import create_app
from shortway.api.openapi.example_responses import record_response, request_arguments
from shortway.api.openapi.examples import EXAMPLES
from shortway.api.openapi.openapi_document import build_document, pretty_json


def recorded_examples(app: Flask) -> Iterator[tuple[str, bytes]]:
    """Each example's file name and content: the request, and the response of `app`."""
    for example in EXAMPLES:
        request: dict[str, Any] = {"method": example.method, "path": example.path}
        if example.body is not None:
            kind = request_arguments(example)["content_type"]
            request |= {"type": kind, "body": example.body}
        if example.accept != "*/*":
            request |= {"accept": example.accept}
        value = {"summary": example.summary, "operation": example.operation, "request": request}
        response = record_response(app, example)
        yield f"{example.name}.json", pretty_json(value | {"response": response})


def write_document(app: Flask, folder: Path) -> None:
    """Write the document and the examples below `folder`."""
    (folder / "examples").mkdir(parents=True, exist_ok=True)
    (folder / "openapi.json").write_bytes(pretty_json(build_document(app)))
    for name, content in recorded_examples(app):
        (folder / "examples" / name).write_bytes(content)


def print_document() -> None:
    """Print the document, or write it with its examples."""
    parser = argparse.ArgumentParser(prog="python -m shortway.api", description=__doc__)
    parser.add_argument("--write", type=Path, metavar="DIR", help="the folder openapi/")
    folder = parser.parse_args().write
    if folder is None:
        sys.stdout.buffer.write(pretty_json(build_document(create_app())))
    else:
        write_document(create_app(), folder)


if __name__ == "__main__":
    print_document()
