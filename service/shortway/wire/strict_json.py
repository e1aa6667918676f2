"""JSON read strictly: one value in UTF-8, or an error with its position.

Knows JSON and nothing of music. Nesting, huge integers, NaN, lone surrogates, keys that stand
twice and other encodings are refused.
"""

import json
from collections import Counter
from collections.abc import Mapping
from typing import Any, Final

import orjson

from shortway.core.errors import Fault

EXPECTED: Final = "one JSON value in UTF-8"
_SPACE: Final = b" \t\r\n"


class NotJson(ValueError):
    """Bytes that are no JSON; `fault` has the position where there is one."""

    def __init__(self, detail: str, position: int | None = None) -> None:
        super().__init__(detail)
        self.fault = Fault("", detail, position, EXPECTED)


def read_json(raw: bytes, what: str = "the body") -> Any:
    """The JSON value of `raw`: checked by orjson, read with whole numbers and no key twice.

    Where orjson writes its value as it was written, but for spaces, no key stood twice and no
    number was rounded. Otherwise the standard library reads it again.

    `what`: what the refusal calls it.

    Raises NotJson.

    >>> read_json(b'{"chart": {"text": "| C |"}}')
    {'chart': {'text': '| C |'}}
    """
    try:
        value = orjson.loads(raw)
        if _written(value) == raw.translate(None, _SPACE):
            return value
        return json.loads(raw, object_pairs_hook=_object)
    except json.JSONDecodeError as error:
        position = error.pos if raw.isascii() else None
        raise NotJson(f"{what} is not JSON: {_reason(raw, error.msg)}", position) from None
    except (ValueError, RecursionError) as error:
        said = "nested too deep" if isinstance(error, RecursionError) else str(error)
        raise NotJson(f"{what} is not JSON that is read here: {said[:120]}") from None


def _written(value: Any) -> bytes | None:
    """JSON without spaces, also those in strings; None where orjson nests no deeper."""
    try:
        return orjson.dumps(value).translate(None, _SPACE)
    except orjson.JSONEncodeError:
        return None


def _reason(raw: bytes, said: str) -> str:
    if not raw:
        return "it is empty"
    try:
        raw.decode()
    except UnicodeDecodeError:
        return "it is not UTF-8"
    return said[:120]


def _object(pairs: list[tuple[str, Any]]) -> Mapping[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        twice = Counter(name for name, _ in pairs).most_common(1)[0][0]
        raise ValueError(f"the field {twice[:40]!r} stands twice")
    return found
