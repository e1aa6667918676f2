"""Errors on the command line: what is wrong and where, on standard error, without traceback."""

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NoReturn
from unicodedata import category

import click

from shortway.core.errors import Fault, ShortwayError

SHOWN = 76
"""Columns of the quoted text."""
REFUSED = 2
"""Exit code of a rejected command or request."""


def printable(text: str) -> str:
    """`text` with control and format characters escaped, so that it cannot steer a terminal.

    >>> print(printable("C7\\x1b[31m"))
    C7\\x1b[31m
    """
    return "".join(repr(s)[1:-1] if category(s)[0] == "C" and s not in "\n\t" else s for s in text)


def exit_with_error(detail: str) -> NoReturn:
    """Print `detail` on standard error and exit with code 2."""
    click.echo(printable(f"Error: {detail}"), err=True)
    sys.exit(REFUSED)


@contextmanager
def stopped_by_terminate() -> Iterator[list[int]]:
    """SIGTERM ends the block as Ctrl-C does; the last item of the list is the exit code."""
    codes = [128 + signal.SIGINT]

    def interrupt(number: int, _: object) -> None:
        codes.append(128 + number)
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, interrupt)
    try:
        yield codes
    finally:
        signal.signal(signal.SIGTERM, before)


@contextmanager
def report_errors(given: dict[str, Any]) -> Iterator[None]:
    """Print the core's errors and exit with code 2.

    Parameters
    ----------
    given : dict
        The request in the wire's shape, which the errors' pointers lead into.
    """
    try:
        yield
    except ShortwayError as error:
        print_error(error, given)
        sys.exit(REFUSED)


@contextmanager
def pointer_prefix(prefix: str) -> Iterator[None]:
    """Put `prefix` before the pointers of the core's errors.

    Raises ShortwayError: the error of the block, with the longer pointer.
    """
    try:
        yield
    except ShortwayError as error:
        raise error.under(prefix) from None


def print_error(error: ShortwayError, given: dict[str, Any]) -> None:
    """Print an error and its faults on standard error."""
    click.echo(printable(f"Error: {error.detail}"), err=True)
    for fault in error.faults:
        for line in fault_lines(fault, error.detail, given):
            click.echo(printable(f"  {line}"), err=True)


def fault_lines(fault: Fault, said: str, given: Any) -> Iterator[str]:
    """Lines of one fault; `said` was printed already.

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
    """The line of `text` at `position`, shortened, and the column in it.

    >>> excerpt("| C |\\n| Dq |", 9)
    ('| Dq |', 3)
    """
    start = text.rfind("\n", 0, position) + 1
    line = text[start:].split("\n", 1)[0].replace("\t", " ").rstrip("\r")
    column = position - start
    cut = max(0, column - SHOWN // 2) if len(line) > SHOWN else 0
    return printable(line[cut : cut + SHOWN]), len(printable(line[cut:column]))


def resolve_pointer(given: Any, pointer: str) -> Any:
    """The value at a JSON pointer, or None."""
    for token in pointer.split("/")[1:]:
        if isinstance(given, dict):
            given = given.get(token)
        elif isinstance(given, list) and token.isdecimal() and int(token) < len(given):
            given = given[int(token)]
        else:
            return None
    return given


def option_of(pointer: str) -> str:
    """The option, argument or place that a JSON pointer means.

    >>> option_of("/setting/reach_mm"), option_of("/chart/measures/3/1/symbol"), option_of("/chart")
    ('--reach-mm', 'measure 4, chord 2', '')
    """
    match pointer.split("/")[1:]:
        case ["setting", "prices", name]:
            return f"--price {name}"
        case ["setting", name, *_]:
            return f"--{name.replace('_', '-')}"
        case [("key_order" | "keys") as name, *_]:
            return f"--{name.replace('_', '-')}"
        case ["pins", index, *_]:
            return f"--pin number {int(index) + 1}"
        case [("after" | "start_from") as name, *_]:
            return f"--{name.replace('_', '-')}"
        case ["section_rhythms", index, *_]:
            return f"--section-rhythm number {int(index) + 1}"
        case ["played", step, *_]:
            return f"step {int(step)} of the played notes, from 0"
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
