"""Fields of a JSON schema as a reference shows them: type, required, default, limits, example.

Knows JSON Schema as an OpenAPI 3.1 document uses it, and no field by name.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

Json = Mapping[str, Any]

#: Longest example that is shown beside its field, in characters.
_LONGEST: Final = 90
#: Pairs of keywords that bound a value, with what they count.
_BOUNDS: Final = (
    ("minimum", "maximum", ""),
    ("minLength", "maxLength", " characters"),
    ("minItems", "maxItems", " items"),
)


@dataclass(frozen=True, slots=True)
class Field:
    """A field, parameter or header."""

    name: str
    #: Its place in the page, its path below `request` or `response`.
    anchor: str
    type: str
    about: str
    is_required: bool
    #: Default, limits and example, where it has them.
    facts: tuple[tuple[str, str], ...]
    #: All that it may be, where these are words.
    values: tuple[str, ...]
    #: Of an object, or of each object of a list.
    fields: tuple[Field, ...]


class Schemas:
    """The schemas of a document by name."""

    def __init__(self, schemas: Mapping[str, Json]) -> None:
        self._schemas = schemas

    def fields(self, schema: Json, anchor: str, above: tuple[str, ...] = ()) -> tuple[Field, ...]:
        """The fields of an object, of a list's objects, or of what may be null."""
        name, found = self._object(schema)
        if name in above:
            return ()
        required = found.get("required", ())
        return tuple(
            self.field(key, inner, anchor, key in required, (*above, name))
            for key, inner in found.get("properties", {}).items()
        )

    def field(
        self, name: str, schema: Json, anchor: str, required: bool, above: tuple[str, ...] = ()
    ) -> Field:
        """A field with all below it; one that lies in itself is not drawn again."""
        at = f"{anchor}.{name}"
        inner = self.fields(schema, at, above)
        return Field(
            name, at, self._type(schema), schema.get("description", ""), required,
            tuple(self._facts(schema, bool(inner))), self._values(schema), inner,
        )  # fmt: skip

    def name_of(self, schema: Json) -> str:
        """The name of the object that a schema refers to; empty where there is none."""
        return self._object(schema)[0]

    def _resolved(self, schema: Json) -> tuple[str, Json]:
        """A schema's name, if it is a reference, and what it says; null is left out."""
        for choice in schema.get("anyOf", ()):
            if choice.get("type") != "null":
                return self._resolved(choice)
        if "$ref" not in schema:
            return "", schema
        name = str(schema["$ref"]).rpartition("/")[2]
        return name, self._schemas[name]

    def _object(self, schema: Json) -> tuple[str, Json]:
        name, found = self._resolved(schema)
        return self._object(found["items"]) if "items" in found else (name, found)

    def _type(self, schema: Json) -> str:
        name, found = self._resolved(schema)
        null = " or null" if "anyOf" in schema else ""
        if "items" in found:
            return f"list of {self._type(found['items'])}{null}"
        if isinstance(every := found.get("additionalProperties"), Mapping):
            return f"object, each value {self._type(every)}{null}"
        kind = found.get("type", "any value")
        return f"{name} object{null}" if name and kind == "object" else f"{kind}{null}"

    def _values(self, schema: Json) -> tuple[str, ...]:
        _, found = self._object(schema)
        return tuple(str(value) for value in found.get("enum", ()) if value is not None)

    def _facts(self, schema: Json, has_fields: bool) -> Iterator[tuple[str, str]]:
        if "default" in schema:
            yield "Default", _text(schema["default"])
        _, found = self._resolved(schema)
        limits = [*_limits(found), *(f"each {one}" for one in _limits(found.get("items", {})))]
        if limits:
            yield "Limits", ", ".join(limits)
        for example in schema.get("examples", ())[:1]:
            shown = _text(example)
            if not has_fields and len(shown) <= _LONGEST and example != schema.get("default", []):
                yield "Example", shown


def _text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def _limits(schema: Json) -> Iterator[str]:
    """What bounds a value, in words.

    >>> list(_limits({"minimum": 0, "maximum": 127})), list(_limits({"maxItems": 4096}))
    (['0 to 127'], ['at most 4,096 items'])
    """
    if "exclusiveMinimum" in schema:
        yield f"over {schema['exclusiveMinimum']:,}"
    for low, high, unit in _BOUNDS:
        if low in schema and high in schema:
            yield f"{schema[low]:,} to {schema[high]:,}{unit}"
        elif low in schema:
            yield f"at least {schema[low]:,}{unit}"
        elif high in schema:
            yield f"at most {schema[high]:,}{unit}"
