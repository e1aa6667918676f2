"""What a change of the OpenAPI document breaks: ``python tests/release/compatibility.py --write``.

openapi/released.json is the document of the last release without its words and examples; --write
makes it anew, when a release is made. Within a version of the API requests are taken as before
and answers have what they had: a call, a field, a type, a value may be added, none goes.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

Json = dict[str, Any]

OPENAPI = Path(__file__).parents[2] / "openapi"
RELEASED = OPENAPI / "released.json"

#: What tells people about the document, and binds nobody.
WORDS = {"info", "servers", "tags", "summary", "description", "example", "examples", "links"}
#: Limits on what is sent: those that may only fall, and those that may only rise.
LEAST = ("minimum", "exclusiveMinimum", "minLength", "minItems")
MOST = ("maximum", "exclusiveMaximum", "maxLength", "maxItems")


def promised(document: Json) -> Json:
    """What `document` binds the service to."""
    return {"version": document["info"]["version"], **_wordless(document)}


def _wordless(value: Any, *, names: bool = False) -> Any:
    """`value` without words; where its keys are names, all of them stay."""
    if isinstance(value, list):
        return [_wordless(each) for each in value]
    if not isinstance(value, dict):
        return value
    return {
        key: _wordless(inner, names=key in ("properties", "schemas") and not names)
        for key, inner in value.items()
        if names or key not in WORDS
    }


class Comparison:
    """Two documents, the older first; `complaints` are what the newer one breaks."""

    def __init__(self, old: Json, new: Json) -> None:
        self.old, self.new = old, new
        self.found: dict[tuple[str, str, bool], list[str]] = {}

    def complaints(self) -> list[str]:
        """Every breach, with where it is."""
        found = (each for path in self.old["paths"] for each in self._calls(path))
        return list(dict.fromkeys(found))

    def _calls(self, path: str) -> Iterator[str]:
        for method, old in self.old["paths"][path].items():
            new = self.new["paths"].get(path, {}).get(method)
            where = f"{method.upper()} {path}"
            if new is None:
                yield f"{where}: gone"
            else:
                yield from self._sent(old, new, where)
                yield from self._answered(old["responses"], new["responses"], where)

    def _sent(self, old: Json, new: Json, where: str) -> Iterator[str]:
        before, after = _parameters(old), _parameters(new)
        yield from (f"{where}: the parameter {name} is gone" for name in before.keys() - after)
        for name, given in after.items():
            if name in before:
                yield from self.schemas(before[name]["schema"], given["schema"], where, sent=True)
            elif given.get("required"):
                yield f"{where}: the parameter {name} is needed now"
        if "requestBody" in old:
            contents = [each["requestBody"]["content"] for each in (old, new)]
            yield from self._media(*contents, f"{where} body", sent=True)

    def _answered(self, old: Json, new: Json, where: str) -> Iterator[str]:
        for status, response in old.items():
            if status not in new:
                yield f"{where} {status}: gone"
                continue
            before, after = self._of(self.old, response), self._of(self.new, new[status])
            gone = before.get("headers", {}).keys() - after.get("headers", {})
            yield from (f"{where} {status}: the header {name} is gone" for name in gone)
            contents = [each.get("content", {}) for each in (before, after)]
            yield from self._media(*contents, f"{where} {status}", sent=False)

    def _media(self, old: Json, new: Json, where: str, *, sent: bool) -> Iterator[str]:
        for kind, media in old.items():
            if kind not in new:
                yield f"{where}: {kind} is gone"
                continue
            for key in ("schema", "x-line-schema"):
                if key in media:
                    yield from self.schemas(
                        media[key], new[kind].get(key, {}), f"{where} {kind}", sent=sent
                    )

    # --- schemas ----------------------------------------------------------------------------------

    def schemas(self, old: Json, new: Json, where: str, *, sent: bool) -> list[str]:
        """What `new` no longer takes where it is sent, or may no longer hold where it is told.

        Components are compared once; one that holds itself is taken to be right inside.
        """
        pair = (old.get("$ref", ""), new.get("$ref", ""), sent)
        of = self._of(self.old, old), self._of(self.new, new)
        if not all(pair[:2]):
            return list(self._compared(*of, where, sent=sent))
        if pair not in self.found:
            self.found[pair] = []
            self.found[pair] = list(self._compared(*of, where, sent=sent))
        return self.found[pair]

    def _compared(self, old: Json, new: Json, where: str, *, sent: bool) -> Iterator[str]:
        yield from _narrowed(old, new, where) if sent else _widened(old, new, where)
        for name, field in old.get("properties", {}).items():
            if name in new.get("properties", {}):
                inner = new["properties"][name]
                yield from self.schemas(field, inner, f"{where}/{name}", sent=sent)
            else:
                yield f"{where}/{name}: gone"
        if "items" in old:
            yield from self.schemas(old["items"], new.get("items", {}), f"{where}/*", sent=sent)
        yield from self._choices(old.get("oneOf", []), new.get("oneOf", []), where, sent=sent)

    def _choices(
        self, old: list[Json], new: list[Json], where: str, *, sent: bool
    ) -> Iterator[str]:
        """Each choice that could be sent still can; each that is told could be told before."""
        if not old or not new:
            if old or (new and not sent):
                yield f"{where}: a choice came or went"
            return
        for k, one in enumerate(old if sent else new):
            pairs = [(one, other) if sent else (other, one) for other in (new if sent else old)]
            found = [self.schemas(a, b, f"{where}({k})", sent=sent) for a, b in pairs]
            if all(found):
                yield from min(found, key=len)

    @staticmethod
    def _of(document: Json, value: Json) -> Json:
        if "$ref" not in value:
            return value
        _, _, kind, name = value["$ref"].split("/")
        found: Json = document["components"][kind][name]
        return found


def _parameters(operation: Json) -> dict[str, Json]:
    return {f"{each['in']} {each['name']}": each for each in operation.get("parameters", [])}


def _types(schema: Json) -> set[str]:
    found = schema.get("type", [])
    return {found} if isinstance(found, str) else set(found)


def _narrowed(old: Json, new: Json, where: str) -> Iterator[str]:
    taken = _types(new) | ({"integer"} if "number" in _types(new) else set())
    if taken and not (_types(old) and _types(old) <= taken):
        yield f"{where}: no longer of any type but {new['type']}"
    if "enum" in new and not set(old.get("enum", [object()])) <= set(new["enum"]):
        yield f"{where}: a word is no longer taken"
    if more := set(new.get("required", [])) - set(old.get("required", [])):
        yield f"{where}: {', '.join(sorted(more))} needed now"
    if new.get("additionalProperties", True) is False is not old.get("additionalProperties", True):
        yield f"{where}: other fields are no longer taken"
    for key in ("pattern", "default", "format"):
        if new.get(key) != old.get(key):
            yield f"{where}: another {key}"
    infinity = float("inf")
    for key in LEAST:
        if new.get(key, -infinity) > old.get(key, -infinity):
            yield f"{where}: a higher {key}"
    for key in MOST:
        if new.get(key, infinity) < old.get(key, infinity):
            yield f"{where}: a lower {key}"


def _widened(old: Json, new: Json, where: str) -> Iterator[str]:
    if _types(old) and not (_types(new) and _types(new) <= _types(old)):
        yield f"{where}: of another type than {old['type']}"
    if less := set(old.get("required", [])) - set(new.get("required", [])):
        yield f"{where}: {', '.join(sorted(less))} may be missing now"


def main() -> None:
    """Print what the committed document breaks, or write down what it promises."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true")
    is_written = parser.parse_args().write
    now = promised(json.loads((OPENAPI / "openapi.json").read_text()))
    if is_written:
        RELEASED.write_text(json.dumps(now, indent=1) + "\n")
    else:
        print("\n".join(Comparison(json.loads(RELEASED.read_text()), now).complaints()))


if __name__ == "__main__":
    main()
