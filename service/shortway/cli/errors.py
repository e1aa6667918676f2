"""Refusals on the command line: what is wrong, under the very characters, and no traceback.

Knows click and the core's errors. Everything goes to standard error.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import click

from shortway.core.errors import Fault, ShortwayError

SHOWN = 76
"""Columns of the offending text that are shown."""
REFUSED = 2
"""Exit code of a request that has to change."""


@contextmanager
def report_errors(given: dict[str, Any]) -> Iterator[None]:
    """Turn the core's errors into a report and exit code 2.

    Parameters
    ----------
    given : dict
        What was asked, in the wire's shape; the faults' pointers lead into it.
    """
    try:
        yield
    except ShortwayError as error:
        print_error(error, given)
        sys.exit(REFUSED)


@contextmanager
def pointer_prefix(prefix: str) -> Iterator[None]:
    """Put the pointers of the core's errors below `prefix`."""
    try:
        yield
    except ShortwayError as error:
        raise error.under(prefix) from None


def print_error(error: ShortwayError, given: dict[str, Any]) -> None:
    """Say what is wrong and where, on standard error."""
    click.echo(f"Error: {error.detail}", err=True)
    for fault in error.faults:
        for line in fault_lines(fault, error.detail, given):
            click.echo(f"  {line}", err=True)


def fault_lines(fault: Fault, said: str, given: Any) -> Iterator[str]:
    """Lines about one fault; `said` was said already.

    >>> print(*fault_lines(Fault("/symbol", "", 2, "7"), "", {"symbol": "Cq"}), sep="\\n")
    Cq
      ^ expected 7
    """
    text = resolve_pointer(given, fault.pointer)
    expected = f"expected {fault.expected}" if fault.expected else ""
    if isinstance(text, str) and fault.position is not None:
        if option_of(fault.pointer):
            yield f"{option_of(fault.pointer)}:"
        line, column = excerpt(text, fault.position)
        yield line
        yield f"{' ' * column}^ {expected}".rstrip()
    elif option_of(fault.pointer) or expected:
        yield ": ".join(part for part in (option_of(fault.pointer), expected) if part)
    if fault.detail != said:
        yield fault.detail


def excerpt(text: str, position: int) -> tuple[str, int]:
    """The line of `text` with `position`, cut to what fits, and the column there.

    >>> excerpt("| C |\\n| Dq |", 9)
    ('| Dq |', 3)
    """
    start = text.rfind("\n", 0, position) + 1
    line = text[start:].split("\n", 1)[0].replace("\t", " ").rstrip("\r")
    column = position - start
    cut = max(0, column - SHOWN // 2) if len(line) > SHOWN else 0
    return line[cut : cut + SHOWN], column - cut


def resolve_pointer(given: Any, pointer: str) -> Any:
    """What a JSON pointer leads to, or None."""
    for token in pointer.split("/")[1:]:
        if isinstance(given, dict):
            given = given.get(token)
        elif isinstance(given, list) and token.isdecimal() and int(token) < len(given):
            given = given[int(token)]
        else:
            return None
    return given


def option_of(pointer: str) -> str:
    """A JSON pointer in the words of the command line.

    >>> option_of("/setting/reach_mm"), option_of("/chart/measures/3/1/symbol"), option_of("/chart")
    ('--reach-mm', 'measure 4, chord 2', '')
    """
    match pointer.split("/")[1:]:
        case ["setting", "range", end, *_]:
            return f"--{end}"
        case ["setting", name, *_]:
            return f"--{name.replace('_', '-')}"
        case ["way", *_]:
            return "--way"
        case ["pins", index, *_]:
            return f"--pin number {int(index) + 1}"
        case [("after" | "start_from") as name, *_]:
            return f"--{name.replace('_', '-')}"
        case ["played", step, *_]:
            return f"step {int(step)} of what was played, from 0"
        case ["align", "channels", *_]:
            return "--channel"
        case ["align", name, *_]:
            return f"--{name.replace('_', '-')}"
        case ["chart", "measures", measure, *rest]:
            chord = f", chord {int(rest[0]) + 1}" if rest else ""
            return f"measure {int(measure) + 1}{chord}"
        case ["chart", name, *_]:
            return f"the chart's {name}"
    return ""
