"""Code that makes a call: curl, Python and JavaScript, from one example of a request.

Answers are JSON or text, as the document's examples are. Knows HTTP and the three languages; no
field by name. `tests/docs/test_samples.py` runs them all.
"""

import json
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import urlencode

#: Where samples find the service; the page puts its own address in its place.
BASE: Final = "http://127.0.0.1:8000"
JSON: Final = "application/json"
_WIDTH: Final = 60
_PYTHON: Final = {"true": "True", "false": "False", "null": "None"}


@dataclass(frozen=True, slots=True)
class Call:
    """A request that is to be shown."""

    method: str
    path: str
    #: Parameters of the address.
    query: tuple[tuple[str, str], ...]
    #: Media type of the body; empty without one.
    kind: str
    #: What is sent: text, or what the JSON stands for.
    body: Any
    #: Media type that is asked for; empty where the default is meant.
    accept: str
    #: Media type of the response.
    answer: str

    @property
    def url(self) -> str:
        """The address with its parameters."""
        return BASE + self.path + (f"?{urlencode(self.query)}" if self.query else "")

    @property
    def headers(self) -> dict[str, str]:
        """The headers that it needs."""
        given = {"Accept": self.accept, "Content-Type": self.kind}
        return {name: value for name, value in given.items() if value}


def samples(call: Call) -> tuple[tuple[str, str], ...]:
    """Languages and code."""
    makers = {"curl": _curl, "Python": _python, "JavaScript": _javascript}
    return tuple((name, "\n".join(make(call)) + "\n") for name, make in makers.items())


def literal(value: Any, python: bool = False, indent: int = 0) -> str:
    """A value in JSON, or in Python, on one line where it is short.

    >>> literal({"loop": True, "symbols": ["C7", None]}, python=True)
    '{"loop": True, "symbols": ["C7", None]}'
    """
    line = _one_line(value, python)
    if len(line) + indent <= _WIDTH or not isinstance(value, dict | list) or not value:
        return line
    pad, inner = " " * indent, indent + 2 + 2 * python
    parts = (
        [f"{json.dumps(name)}: {literal(of, python, inner)}" for name, of in value.items()]
        if isinstance(value, dict)
        else [literal(of, python, inner) for of in value]
    )
    begin, end = "{}" if isinstance(value, dict) else "[]"
    last = "," if python else ""
    return f"{begin}\n" + ",\n".join(" " * inner + part for part in parts) + f"{last}\n{pad}{end}"


def _one_line(value: Any, python: bool) -> str:
    if isinstance(value, dict):
        parts = (f"{json.dumps(name)}: {_one_line(of, python)}" for name, of in value.items())
        return "{" + ", ".join(parts) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_one_line(of, python) for of in value) + "]"
    text = json.dumps(value, ensure_ascii=False)
    return _PYTHON.get(text, text) if python else text


def _curl(call: Call) -> Iterator[str]:
    parts = [f"curl -s {shlex.quote(call.url)}"]
    parts += [f"-H {shlex.quote(f'{name}: {value}')}" for name, value in call.headers.items()]
    if call.kind:
        text = literal(call.body) if call.kind == JSON else call.body
        parts.append(f"--data-binary {shlex.quote(text)}")
    yield " \\\n  ".join(parts)


def _python(call: Call) -> Iterator[str]:
    yield "import requests\n"
    yield f"response = requests.{call.method.lower()}("
    yield f'    "{BASE}{call.path}",'
    if call.query:
        yield f"    params={literal(dict(call.query), True, 4)},"
    if call.kind == JSON:
        yield f"    json={literal(call.body, True, 4)},"
    elif call.kind:
        yield f"    data={literal(call.body)}.encode(),"
    if headers := {k: v for k, v in call.headers.items() if v != JSON}:
        yield f"    headers={literal(headers, True, 4)},"
    yield "    timeout=60,\n)"
    yield "response.raise_for_status()"
    yield f"print(response.{'json()' if call.answer == JSON else 'text'})"


def _javascript(call: Call) -> Iterator[str]:
    options = {"method": call.method, "headers": call.headers} if call.headers else {}
    yield f'const response = await fetch("{call.url}"' + (", {" if options else ");")
    for name, value in options.items():
        yield f"  {name}: {literal(value, indent=2)},"
    if call.kind:
        text = literal(call.body, indent=2)
        yield f"  body: {f'JSON.stringify({text})' if call.kind == JSON else text},"
    if options:
        yield "});"
    yield "if (!response.ok) throw new Error((await response.json()).detail);"
    yield f"console.log(await response.{'json' if call.answer == JSON else 'text'}());"
