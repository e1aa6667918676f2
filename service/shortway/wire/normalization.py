"""JSON values as the core reads them: what is absent is left out, whole numbers are integers."""

from __future__ import annotations

from typing import Any, Final

import orjson

#: Levels of a value that the core reads below which nothing is declared any more.
_DEEPEST: Final = 12
#: Types of JSON values that may be absent or look different once they are normalized.
_CHANGING: Final = frozenset((dict, list, float, type(None)))
#: What the JSON of such a value has, digits as 0: null, an empty list, a float.
_SIGNS: Final = (b"null", b"[]", b".", b"0e")
_DIGITS: Final = bytes.maketrans(b"123456789", b"000000000")


def normalized(value: Any) -> Any:
    """A JSON value without what is absent in its objects, with 4 for 4.0; itself where it is so.

    >>> normalized({"home": None, "families": [], "notes": 5.0, "prices": {"cluster": None}})
    {'notes': 5, 'prices': {}}
    """
    try:
        written = orjson.dumps(value).translate(_DIGITS)
    except orjson.JSONEncodeError:
        return _normalized(value, _DEEPEST)
    return _normalized(value, _DEEPEST) if any(map(written.count, _SIGNS)) else value


def _normalized(value: Any, deepest: int) -> Any:
    kind = type(value)
    if kind is not dict and kind is not list:
        return whole(value)
    inside = value.values() if kind is dict else value
    if not deepest or _CHANGING.isdisjoint(map(type, inside)):
        return value
    if kind is list:
        return [_normalized(inner, deepest - 1) for inner in value]
    return {
        name: _normalized(inner, deepest - 1)
        for name, inner in value.items()
        if inner is not None and inner != []
    }


def whole(value: object) -> object:
    """The integer that a float such as 4.0 is, else `value` itself."""
    return int(value) if isinstance(value, float) and value.is_integer() else value
