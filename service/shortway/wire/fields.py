"""Fields of the wire: strict types, and field errors with a code.

Knows marshmallow and no noun. ``"4"``, 4.7 and true are not 4, and 4.0 is; in an object null is
absent, and so is an empty list unless it is required. An error is a `FieldError`, from which the
problem takes its code. Each field is declared with a description and an example, which the OpenAPI
document shows.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from marshmallow import RAISE, Schema, ValidationError, fields, missing, validate

from shortway.core.cancellation import checkpoint
from shortway.core.errors import one_of
from shortway.wire.normalization import normalized, whole


@dataclass(frozen=True, slots=True)
class FieldError:
    """A field's error; takes the place of marshmallow's message."""

    code: str
    detail: str
    expected: str | None = None


REQUIRED: Final = FieldError("missing-field", "this field is required")
EMPTY: Final = FieldError("out-of-range", "this list is empty", "at least one item")


def doc(description: str, *examples: object, **more: object) -> dict[str, Any]:
    """A field's metadata: what the OpenAPI document says of it."""
    shown = {"examples": list(examples)} if examples else {}
    return {"description": description, **shown, **more}


def _messages(expected: str, *keys: str) -> dict[str, Any]:
    wrong = [FieldError("wrong-type", f"this is not {expected}", expected)]
    return {"required": [REQUIRED], **dict.fromkeys(("null", "invalid", *keys), wrong)}


class _Documented(fields.Field[Any]):
    """A field whose arguments are its metadata.

    Positional: the item of a list or the schema of an object, a description, examples. Keywords
    that marshmallow does not have are JSON Schema's (``minimum``, ``enum``). In a response a field
    is required unless it is `optional`.
    """

    items = 0

    def __init__(
        self,
        *given: Any,
        required: bool = False,
        optional: bool = False,
        null: bool = False,
        validate: Any = None,
        load_default: Any = missing,
        metadata: dict[str, Any] | None = None,
        **shown: Any,
    ) -> None:
        described = given[self.items :]
        super().__init__(
            *given[: self.items],
            required=required,
            allow_none=null,
            validate=validate,
            load_default=load_default,
            metadata=metadata or (doc(*described, **shown) if described else {}),
        )
        self.optional = optional


class StrictString(_Documented, fields.String):
    """A string."""

    default_error_messages = _messages("a text", "invalid_utf8")


class StrictInteger(_Documented, fields.Integer):
    """A whole number, such as 4 or 4.0 (JSON Schema, section 6.1.1); true is rejected."""

    default_error_messages = _messages("a whole number", "too_large")

    def _deserialize(self, value: object, *_: object, **__: object) -> int:
        number = whole(value)
        if type(number) is not int:
            raise self.make_error("invalid")
        return number


class StrictNumber(_Documented, fields.Float):
    """A finite number; true is rejected."""

    default_error_messages = _messages("a number", "too_large", "special")

    def _deserialize(self, value: object, *_: object, **__: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.make_error("invalid")
        if isinstance(value, float) and not math.isfinite(value):
            raise self.make_error("special")
        return value


class StrictBoolean(_Documented, fields.Boolean):
    """True or false; no word or number for them."""

    default_error_messages = _messages("true or false")

    def _deserialize(self, value: object, *_: object, **__: object) -> bool:
        if not isinstance(value, bool):
            raise self.make_error("invalid")
        return value


class StrictList(_Documented, fields.List[Any]):
    """A list; one of a wrong length is rejected before its items are read.

    A required one is not empty; `RequestSchema` leaves out any other that is.
    """

    items = 1
    default_error_messages = _messages("a list") | {"empty": [EMPTY]}

    def _deserialize(self, value: Any, *rest: Any, **more: Any) -> list[Any]:
        checkpoint()
        if self.required and value == []:
            raise self.make_error("empty")
        if isinstance(value, list):
            for check in self.validators:
                if isinstance(check, Length):
                    check(value)
        return super()._deserialize(value, *rest, **more)


class StrictNested(_Documented, fields.Nested):
    """An object of the wire inside another."""

    items = 1
    default_error_messages = _messages("an object", "type")


class CoreValue(_Documented, fields.Raw):
    """A value that the core reads; the document shows `form`, often a reference."""

    default_error_messages = _messages("a value")

    def __init__(self, form: dict[str, Any], *given: Any, **options: Any) -> None:
        super().__init__(*given, **options)
        self.form = form

    def _deserialize(self, value: object, *_: object, **__: object) -> object:
        return normalized(value)


def _may_be_empty(field: fields.Field[Any]) -> bool:
    return isinstance(field, StrictList | CoreValue) and not field.required


def field_schema(_: object, field: fields.Field[Any], ret: dict[str, Any]) -> dict[str, Any]:
    """apispec's attribute function: a `CoreValue`'s form; only a required list may not be empty."""
    if isinstance(field, StrictList) and isinstance(field.parent, RequestSchema):
        ret.pop("minItems", None)
        return {"minItems": 1} if field.required else {}
    return dict(field.form) if isinstance(field, CoreValue) else {}


class Between(validate.Range):
    """A number from `least` to `most`; None is open."""

    def __init__(self, least: float | None, most: float | None = None) -> None:
        super().__init__(min=least, max=most)
        low = "" if least is None else f"{least:,} "
        self.expected = f"{low}or more" if most is None else f"{low}to {most:,}"

    def __call__(self, value: Any) -> Any:
        """Reject a number outside."""
        try:
            return super().__call__(value)
        except ValidationError:
            error = FieldError("out-of-range", "this number is out of range", self.expected)
            raise ValidationError([error]) from None


class Length(validate.Length):
    """A list or text of `least` to `most` items."""

    def __init__(self, least: int, most: int) -> None:
        super().__init__(min=least, max=most)

    def __call__(self, value: Any) -> Any:
        """Reject one that is longer or shorter."""
        try:
            return super().__call__(value)
        except ValidationError:
            expected = f"{self.min:,} to {self.max:,}"
            error = FieldError("out-of-range", f"{len(value):,} are given", expected)
            raise ValidationError([error]) from None


class OneOf(validate.OneOf):
    """One of some words."""

    def __init__(self, words: Sequence[str]) -> None:
        super().__init__(list(words))
        self.expected = one_of(list(words))

    def __call__(self, value: Any) -> Any:
        """Reject any other."""
        try:
            return super().__call__(value)
        except ValidationError:
            error = FieldError("out-of-range", "this word is not known here", self.expected)
            raise ValidationError([error]) from None


class ResponseSchema(Schema):
    """The shape of a response: for the document only, never used to dump."""

    def on_bind_field(self, field_name: str, field_obj: Any) -> None:
        """Require every field that is not optional."""
        field_obj.required = not field_obj.optional


class RequestSchema(Schema):
    """A request's object; a field that is not declared is rejected."""

    error_messages = {  # noqa: RUF012 - as marshmallow declares it
        "type": FieldError("wrong-type", "this is not an object", "an object")  # type: ignore[dict-item]
    }

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        known = one_of(sorted(self.load_fields))
        unknown = FieldError("unknown-field", "no field of this name is known here", known)
        self.error_messages["unknown"] = unknown  # type: ignore[assignment]
        declared = self.load_fields.items()
        self._required = [name for name, field in declared if field.required]
        defaults = [(name, field.load_default) for name, field in declared]
        self._defaults = [(name, of) for name, of in defaults if of is not missing]

    def load(self, data: Any, **_: Any) -> dict[str, Any]:
        """The request that `data` is; null, and an empty list that is not required, are absent.

        marshmallow's own takes ten times as long for the options that nothing here uses.

        Raises ValidationError with a `FieldError` of each field that is wrong, missing or unknown.
        """
        if not isinstance(data, Mapping):
            raise ValidationError([self.error_messages["type"]])
        loaded = {name: make() if callable(make) else make for name, make in self._defaults}
        errors: dict[str, Any] = {name: [REQUIRED] for name in self._required}
        for name, given in data.items():
            field = self.load_fields.get(name)
            if given is None:
                continue
            errors.pop(name, None)
            if field is None:
                errors[name] = [self.error_messages["unknown"]]
            elif given != [] or not _may_be_empty(field):
                try:
                    loaded[name] = field.deserialize(given, name, data)
                except ValidationError as error:
                    errors[name] = error.messages
        if errors:
            order = dict.fromkeys([*self.load_fields, *data])
            raise ValidationError({name: errors[name] for name in order if name in errors})
        return loaded

    class Meta:
        """marshmallow's options, which the OpenAPI document shows."""

        unknown = RAISE
