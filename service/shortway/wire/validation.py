"""Requests checked against their schema, which is the only declaration of a field.

Knows marshmallow; HTTP, batch lines and the command line check their requests here.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from marshmallow import Schema, ValidationError

from shortway.core.errors import Fault, ShortwayError, token
from shortway.wire.fields import FieldError


class InvalidRequest(ShortwayError):
    """Fields that their schema rejects; the first one's code is the problem's."""

    def __init__(self, code: str, *faults: Fault) -> None:
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        super().__init__(faults[0].detail + more, *faults)
        self.code = code


def validated(schema: Schema, value: Any) -> dict[str, Any]:
    """`value` as `schema` loads it, with its defaults.

    Raises
    ------
    InvalidRequest
        A field is unknown, missing, of the wrong type or out of range.
    """
    try:
        loaded: dict[str, Any] = schema.load(value)
    except ValidationError as error:
        raise invalid_request(error.messages) from None
    return loaded


def invalid_request(messages: Any) -> InvalidRequest:
    """The error that marshmallow's messages are: a pointer for each."""
    found = list(_flattened(messages, ""))
    return InvalidRequest(found[0][0], *(fault for _, fault in found))


def _flattened(messages: Any, pointer: str) -> Iterator[tuple[str, Fault]]:
    if isinstance(messages, dict):
        for name, inner in messages.items():
            yield from _flattened(inner, pointer if name == "_schema" else pointer + token(name))
    elif isinstance(messages, list):
        for said in messages:
            yield from _flattened(said, pointer)
    elif isinstance(messages, FieldError):
        yield messages.code, Fault(pointer, messages.detail, None, messages.expected)
    else:
        yield "out-of-range", Fault(pointer, str(messages))
