"""Request schemas: the laws that every declared field keeps, whatever it is called."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from marshmallow import ValidationError, fields

from shortway.core.cancellation import Cancelled, cancel_scope
from shortway.wire.fields import (
    Length,
    RequestSchema,
    StrictBoolean,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictNumber,
    StrictString,
)
from shortway.wire.normalization import normalized
from shortway.wire.schemas.batches import BatchLineSchema
from shortway.wire.schemas.chords import ChordsRequestSchema
from shortway.wire.schemas.exercises import ExerciseRequestSchema
from shortway.wire.schemas.paths import PathRequestSchema
from shortway.wire.schemas.reviews import ReviewRequestSchema
from shortway.wire.schemas.scores import ScoreRequestSchema
from shortway.wire.schemas.voicings import VoicingsRequestSchema
from shortway.wire.validation import InvalidRequest, validated
from support.tables import each_row

REQUESTS = (
    BatchLineSchema, ChordsRequestSchema, ExerciseRequestSchema, PathRequestSchema,
    ReviewRequestSchema, ScoreRequestSchema, VoicingsRequestSchema,
)  # fmt: skip
#: JSON values that look like the type beside them and are not it.
LOOK_ALIKES: dict[type[fields.Field[Any]], tuple[object, ...]] = {
    StrictString: (7, True, ["a"]),
    StrictInteger: ("4", True, 4.5, [4]),
    StrictNumber: ("4.5", True, [4.5]),
    StrictBoolean: ("true", 1, 0, [True]),
    StrictList: ("a", 7, {"0": "a"}),
    StrictNested: ("a", 7, True),
}


def codes(schema: RequestSchema, value: object) -> dict[str, str]:
    """Problem code by pointer: that of the first fault, which is the problem's own."""
    with pytest.raises(InvalidRequest) as caught:
        validated(schema, value)
    return {caught.value.faults[0].pointer: caught.value.code}


def required(schema: type[RequestSchema]) -> list[str]:
    """The required fields of a request."""
    return [name for name, field in schema().load_fields.items() if field.required]


@each_row("schema", REQUESTS)
def test_only_an_object_is_a_request(schema: type[RequestSchema]) -> None:
    for value in ([], "text", 7, None, True):
        assert codes(schema(), value) == {"": "wrong-type"}


@each_row("schema", REQUESTS)
def test_a_field_that_is_not_declared_is_rejected_by_its_pointer(
    schema: type[RequestSchema],
) -> None:
    fields = schema().load_fields
    request = {name: fields[name].metadata["examples"][0] for name in required(schema)}
    request["no~such/field"] = 1
    assert codes(schema(), request) == {"/no~0such~1field": "unknown-field"}


@each_row("schema", REQUESTS)
def test_a_required_field_is_missed_by_its_pointer(schema: type[RequestSchema]) -> None:
    assert required(schema)
    with pytest.raises(InvalidRequest) as caught:
        validated(schema(), {})
    assert {f"/{name}" for name in required(schema)} <= {
        fault.pointer for fault in caught.value.faults
    }
    assert caught.value.code == "missing-field"


@each_row("schema", REQUESTS)
def test_no_value_is_taken_for_one_of_another_type(schema: type[RequestSchema]) -> None:
    """``"4"``, 4.5 and true are no integers: JSON has types of its own (RFC 8259, section 3)."""
    tried = 0
    for name, field in schema().load_fields.items():
        for value in LOOK_ALIKES.get(type(field), ()):
            tried += 1
            found = codes(schema(only=(name,)), {name: value})
            assert found == {f"/{name}": "wrong-type"}, (name, value)
    assert tried or schema is ChordsRequestSchema


def lists(schema: RequestSchema, pointer: str = "") -> Iterator[tuple[str, StrictList]]:
    """Every list of a request with its pointer, those of objects inside it among them."""
    for name, field in schema.load_fields.items():
        at = f"{pointer}/{name}"
        while isinstance(field, StrictList):
            yield at, field
            field, at = field.inner, f"{at}/0"
        if isinstance(field, StrictNested):
            yield from lists(field.schema, at)


@each_row("schema", REQUESTS)
def test_a_list_that_is_too_long_is_rejected_unread(schema: type[RequestSchema]) -> None:
    """10,000 pins took 21 s to be found wrong one by one, past every deadline."""
    for pointer, field in lists(schema()):
        most = max(check.max for check in field.validators if isinstance(check, Length))
        with pytest.raises(ValidationError) as caught:
            field.deserialize([object()] * (most + 1))
        assert [said.code for said in caught.value.messages] == ["out-of-range"], pointer


def test_checking_a_list_can_be_cancelled() -> None:
    def stop() -> None:
        raise Cancelled

    with cancel_scope(stop), pytest.raises(Cancelled):
        validated(PathRequestSchema(), {"chart": {"text": "| C |"}, "pins": [{"step": 0}]})


@pytest.mark.parametrize(
    ("given", "want"),
    [
        ({"a": [[{"b": 1e16}]]}, {"a": [[{"b": 10**16}]]}),
        ({"a": -4.0, "b": 1e-7, "c": 4.5}, {"a": -4, "b": 1e-7, "c": 4.5}),
        ({"a": [{"b": None, "c": []}], "d": [None]}, {"a": [{}], "d": [None]}),
        ({"a": "null [] 1.5 7e1"}, {"a": "null [] 1.5 7e1"}),
        ({"a": 10**30, "b": 2.0}, {"a": 10**30, "b": 2}),
    ],
)
def test_what_is_absent_is_left_out_and_whole_numbers_are_integers(given: Any, want: Any) -> None:
    assert repr(normalized(given)) == repr(want)
