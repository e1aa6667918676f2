"""The public surface as text: ``python tests/release/surface.py --write`` writes it anew.

Knows which names are public: all that `shortway_client` exports, the doors of `shortway` that
DEVELOPERS.md and the README lead through, and the commands with their options.
"""

from __future__ import annotations

import argparse
import importlib
import inspect
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import click

FOLDER = Path(__file__).parents[1] / "data" / "surface"

#: Names of `shortway` that others may call, by module; None: all that it exports.
DOORS = {
    "shortway.core.symbols.parser": ("parse",),
    "shortway.core.theory.chord": ("Chord", "Tone"),
    "shortway.core.charts": None,
    "shortway.core.settings.setting": ("Setting", "resolve"),
    "shortway.core.voicings.model": ("Note", "Voicing"),
    "shortway.core.solver.solve": None,
    "shortway.core.voice_leading.distance": (
        "Assignment",
        "least_assignment",
        "least_class_assignment",
    ),
    "shortway.core.review.review": ("review",),
    "shortway.core.exercises.exercise": ("Exercise", "exercise"),
    "shortway.core.errors": ("Fault", "ShortwayError"),
    "shortway.api": None,
    "shortway.serving.serve": ("run_server",),
}


class _Plain(str):
    """An annotation, shown without quotes."""

    __slots__ = ()
    __repr__ = str.__str__


def surface(distribution: str) -> str:
    """The public names of a distribution, a line each."""
    lines = {"shortway": _service, "shortway_client": _client}[distribution]()
    return "".join(f"{line}\n" for line in lines)


def _client() -> Iterator[str]:
    yield from _names(importlib.import_module("shortway_client"))


def _service() -> Iterator[str]:
    for name, names in DOORS.items():
        yield from _names(importlib.import_module(name), names)
    yield from _commands(importlib.import_module("shortway.cli").main, "shortway")


def _names(module: ModuleType, names: tuple[str, ...] | None = None) -> Iterator[str]:
    for name in names or sorted(module.__all__):
        yield from _described(f"{module.__name__}.{name}", getattr(module, name))


def _described(name: str, value: Any) -> Iterator[str]:
    if not callable(value):
        yield f"{name} = {value!r}"
        return
    if not inspect.isclass(value):
        yield f"{name}{_signature(value)}"
        return
    bases = ", ".join(base.__name__ for base in value.__bases__ if base is not object)
    yield f"class {name}{_signature(value)}" + (f" of {bases}" if bases else "")
    for inner, member in sorted(vars(value).items()):
        if not inner.startswith("_"):
            yield from _member(f"{name}.{inner}", member)


def _member(name: str, member: Any) -> Iterator[str]:
    if isinstance(member, property):
        given = member.fget.__annotations__["return"] if member.fget else None
        yield f"{name}: {given}"
    elif isinstance(member, classmethod | staticmethod):
        yield f"{name}{_signature(member.__func__)}"
    elif inspect.isfunction(member):
        yield f"{name}{_signature(member)}"


def _signature(value: Any) -> str:
    """Parameters and what is returned, with annotations as they are written."""
    try:
        found = inspect.signature(value)
    except ValueError:  # an exception with the constructor of its base
        return ""
    parameters = [
        each.replace(annotation=_plain(each.annotation)) for each in found.parameters.values()
    ]
    return str(
        found.replace(parameters=parameters, return_annotation=_plain(found.return_annotation))
    )


def _plain(annotation: Any) -> Any:
    written = getattr(annotation, "__forward_arg__", annotation)
    return _Plain(written) if isinstance(written, str) else annotation


def _commands(command: click.Command, name: str) -> Iterator[str]:
    """A command and those below it, each with its arguments and options."""
    given = " ".join(_option(each) for each in command.params)
    yield f"$ {name} {given}".rstrip()
    for inner in sorted(getattr(command, "commands", {})):
        yield from _commands(command.commands[inner], f"{name} {inner}")  # type: ignore[attr-defined]


def _option(given: click.Parameter) -> str:
    if isinstance(given, click.Argument):
        return given.make_metavar(click.Context(click.Command("any")))
    return "[" + "|".join((*given.opts, *given.secondary_opts)) + "]"


def main() -> None:
    """Print the surface, or write it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true")
    is_written = parser.parse_args().write
    for distribution in ("shortway", "shortway_client"):
        if is_written:
            (FOLDER / f"{distribution}.txt").write_text(surface(distribution))
        else:
            print(surface(distribution), end="")


if __name__ == "__main__":
    main()
