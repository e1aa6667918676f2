"""Models from the wire's JSON and back, by their type hints; pure.

Reading is strict about what must be there and of which type, and passes over unknown fields.
One reader is made for each type and kept.
"""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, TypeVar

from shortway_client.errors import BadAnswer

T = TypeVar("T")
Reader = Callable[[Any, str], Any]

_MISSING = dataclasses.MISSING
_NAMES: dict[Any, str] = {
    int: "a whole number",
    float: "a number",
    str: "a text",
    bool: "true or false",
}


def from_json(kind: type[T], value: Any, pointer: str = "") -> T:
    """A model from what the wire said.

    Raises
    ------
    BadAnswer
        A field is missing or has another type; the message has its JSON pointer.

    Examples
    --------
    >>> from shortway_client.models import Span
    >>> from_json(Span, {"left": 88.1, "right": None, "unheard": "of"})
    Span(left=88.1, right=None)
    """
    return typing.cast(T, _reader(typing.cast(Any, kind))(value, pointer))


def to_json(value: Any) -> Any:
    """A model as the wire writes it; fields that are None at their default are left out.

    >>> from shortway_client.models import Pin
    >>> to_json(Pin(0, midi=(53, 59)))
    {'step': 0, 'midi': [53, 59]}
    """
    if dataclasses.is_dataclass(value):
        return {
            _wire_name(f): to_json(getattr(value, f.name))
            for f in dataclasses.fields(value)
            if not (f.default is None and getattr(value, f.name) is None)
        }
    if isinstance(value, Mapping):
        return {key: to_json(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [to_json(item) for item in value]
    return value


def _wire_name(field: dataclasses.Field[Any]) -> str:
    return typing.cast(str, field.metadata.get("wire", field.name))


def _wrong(pointer: str, expected: str, value: Any) -> BadAnswer:
    return BadAnswer(f"expected {expected} at {pointer or '/'}", excerpt=repr(value)[:80])


@cache
def _reader(kind: Any) -> Reader:
    origin = typing.get_origin(kind)
    if dataclasses.is_dataclass(kind):
        return _model_reader(kind)
    if origin is tuple:
        return _tuple_reader(typing.get_args(kind)[0])
    if origin in (typing.Union, types.UnionType):
        return _union_reader(typing.get_args(kind))
    if origin is typing.Literal:
        return _literal_reader(typing.get_args(kind))
    return _plain_reader(kind)


def _plain_reader(kind: Any) -> Reader:
    accepted = {float: {int, float}}.get(kind, {kind})
    name = _NAMES.get(kind, "null")

    def read(value: Any, pointer: str) -> Any:
        if type(value) not in accepted:
            raise _wrong(pointer, name, value)
        return value

    return read


def _literal_reader(words: tuple[Any, ...]) -> Reader:
    def read(value: Any, pointer: str) -> Any:
        if value not in words:
            raise _wrong(pointer, " or ".join(map(repr, words)), value)
        return value

    return read


def _tuple_reader(kind: Any) -> Reader:
    item = _reader(kind)

    def read(value: Any, pointer: str) -> Any:
        if not isinstance(value, list):
            raise _wrong(pointer, "a list", value)
        return tuple(item(each, f"{pointer}/{i}") for i, each in enumerate(value))

    return read


def _union_reader(kinds: tuple[Any, ...]) -> Reader:
    *others, last = (_reader(kind) for kind in kinds if kind is not types.NoneType)
    optional = types.NoneType in kinds

    def read(value: Any, pointer: str) -> Any:
        if optional and value is None:
            return None
        for other in others:
            try:
                return other(value, pointer)
            except BadAnswer:
                continue
        return last(value, pointer)

    return read


def _model_reader(kind: Any) -> Reader:
    hints = typing.get_type_hints(kind)
    fields: list[tuple[str, str, Reader, bool]] = []

    def read(value: Any, pointer: str) -> Any:
        if not isinstance(value, dict):
            raise _wrong(pointer, "an object", value)
        if not fields:
            fields.extend(_model_fields(kind, hints))
        found: dict[str, Any] = {}
        for name, wire, reader, needed in fields:
            if wire in value:
                found[name] = reader(value[wire], f"{pointer}/{wire}")
            elif needed:
                raise BadAnswer(f"the answer lacks {pointer}/{wire}", excerpt=repr(value)[:80])
        return kind(**found)

    return read


def _model_fields(kind: Any, hints: Mapping[str, Any]) -> list[tuple[str, str, Reader, bool]]:
    """Made at first use and not before, since a model may hold itself."""
    return [
        (f.name, _wire_name(f), _reader(hints[f.name]), f.default is _MISSING)
        for f in dataclasses.fields(kind)
    ]
