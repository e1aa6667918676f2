"""Checks of a request's fields before any music is in it: small functions, put into tables.

Knows JSON values and no noun. A check yields what is wrong with a value, each fault with its code
and a pointer relative to the value; it never raises. ``"4"``, 4.7 and true are not 4.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from shortway.core.errors import Fault, one_of, token

Wrong = tuple[str, Fault]
Check = Callable[[Any], Iterator[Wrong]]


@dataclass(frozen=True, slots=True)
class Row:
    """A field in a table: its check, and whether it must be there."""

    check: Check
    needed: bool = False


def wrong(code: str, detail: str, expected: str | None = None) -> Wrong:
    """What is wrong with a value itself."""
    return code, Fault("", detail, None, expected)


def below(name: object, found: Iterator[Wrong]) -> Iterator[Wrong]:
    """What is wrong inside the field `name`."""
    for code, fault in found:
        yield code, replace(fault, pointer=token(name) + fault.pointer)


def anything(value: Any) -> Iterator[Wrong]:
    """A value that the core judges; null is none."""
    if value is None:
        yield wrong("wrong-type", "null is no value here", "a value")


def text(value: Any) -> Iterator[Wrong]:
    """A text."""
    if not isinstance(value, str):
        yield wrong("wrong-type", "this is not a text", "a text")


def flag(value: Any) -> Iterator[Wrong]:
    """True or false."""
    if not isinstance(value, bool):
        yield wrong("wrong-type", "this is not true or false", "true or false")


def whole(least: int, most: int) -> Check:
    """A whole number from `least` to `most`."""

    def check(value: Any) -> Iterator[Wrong]:
        if type(value) is not int:
            yield wrong("wrong-type", "this is not a whole number", "a whole number")
        elif not least <= value <= most:
            yield wrong("out-of-range", "this number is out of range", f"{least:,} to {most:,}")

    return check


def word(words: Sequence[str]) -> Check:
    """One of some words."""

    def check(value: Any) -> Iterator[Wrong]:
        yield from text(value)
        if isinstance(value, str) and value not in words:
            yield wrong("out-of-range", "this word is not known here", one_of(words))

    return check


def several(inner: Check, least: int, most: int) -> Check:
    """A list of `least` to `most` values."""

    def check(value: Any) -> Iterator[Wrong]:
        if not isinstance(value, list):
            yield wrong("wrong-type", "this is not a list", "a list")
        elif not least <= len(value) <= most:
            yield wrong("out-of-range", f"{len(value):,} are given", f"{least:,} to {most:,}")
        else:
            for index, each in enumerate(value):
                yield from below(index, inner(each))

    return check


def fields(table: Mapping[str, Row]) -> Check:
    """An object of the fields of `table` and no others."""
    known = one_of(sorted(table))

    def check(value: Any) -> Iterator[Wrong]:
        if not isinstance(value, dict):
            yield wrong("wrong-type", "this is not an object", "an object")
            return
        for name, row in table.items():
            if name in value:
                yield from below(name, row.check(value[name]))
            elif row.needed:
                missing = wrong("missing-field", "this field is needed and missing")
                yield from below(name, iter((missing,)))
        unknown = wrong("unknown-field", "no field of this name is known here", known)
        for name in [name for name in value if name not in table]:
            yield from below(name, iter((unknown,)))

    return check


def options(value: Any) -> Iterator[Wrong]:
    """An object of optional fields that the core judges: one left out is left out, never null."""
    yield from anything(value)
    for name, inner in value.items() if isinstance(value, dict) else ():
        yield from below(name, _nulls(inner))


def _nulls(value: Any) -> Iterator[Wrong]:
    """Nulls: `value` itself, or what is right inside it."""
    if value is None:
        yield wrong("wrong-type", "null is no value here", "a value, or no such field")
    for name, inner in _items(value):
        if inner is None:
            yield from below(name, _nulls(None))


def _items(value: Any) -> Iterable[tuple[object, Any]]:
    if isinstance(value, dict):
        return value.items()
    return enumerate(value) if isinstance(value, list) else ()
