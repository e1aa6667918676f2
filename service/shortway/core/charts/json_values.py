"""Single values of a chart's JSON form, each read strictly with the pointer to its fault.

Knows errors and pitch; no chord and no measure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from fractions import Fraction

from shortway.core.charts.model import MAX_DENOMINATOR
from shortway.core.errors import (
    ChartError,
    SettingError,
    ShortwayError,
    UnknownField,
    WrongType,
    one_of,
    token,
)
from shortway.core.theory.pitch import midi_number

PITCH_EXPECTED = "a pitch such as Eb5"


def require_object(
    value: object, fields: Sequence[str], pointer: str, what: str
) -> Mapping[str, object]:
    """`value`, which must be an object with no field but `fields`.

    Raises WrongType or UnknownField.
    """
    if not isinstance(value, Mapping):
        raise WrongType.at(pointer, f"{what} must be an object", expected="an object")
    for name in value:
        if name not in fields:
            raise UnknownField.at(pointer + token(name), "unknown field", expected=one_of(fields))
    return value


def require_field(value: Mapping[str, object], name: str, where: str) -> object:
    """The field `name`, which must be there.

    Raises ChartError where it is missing.
    """
    if name not in value:
        raise ChartError.at(
            f"{where}/{name}", f"the field {name!r} is required", expected=f"a field {name!r}"
        )
    return value[name]


def require_list(value: object, pointer: str, expected: str) -> Sequence[object]:
    """`value`, which must be a list.

    Raises WrongType.
    """
    if not isinstance(value, list | tuple):
        raise WrongType.at(pointer, f"expected {expected}", expected=expected)
    return value


def require_word(value: object, words: Sequence[str], pointer: str, detail: str) -> str:
    """`value`, which must be one of `words`.

    Raises WrongType or SettingError.
    """
    if isinstance(value, str) and value in words:
        return value
    kind = SettingError if isinstance(value, str) else WrongType
    raise kind.at(pointer, detail, expected=one_of(words))


def read_beats(value: object, pointer: str) -> Fraction:
    """The nearest fraction of a beat.

    Raises WrongType or SettingError.
    """
    expected = f"a number more than 0, to 1/{MAX_DENOMINATOR} beat"
    if isinstance(value, bool) or not isinstance(value, int | float | Fraction):
        raise WrongType.at(pointer, "beats must be a number", expected=expected)
    if isinstance(value, float) and not math.isfinite(value):
        raise SettingError.at(pointer, f"{value} is not a number of beats", expected=expected)
    found = Fraction(value).limit_denominator(MAX_DENOMINATOR)
    if found <= 0:
        raise SettingError.at(pointer, "beats must be more than 0", expected=expected)
    return found


def read_measure_number(value: object, pointer: str, count: int, expected: str) -> int:
    """The number of a measure, 1 to `count`.

    Raises WrongType or SettingError.
    """
    if isinstance(value, bool) or not isinstance(value, int):
        raise WrongType.at(pointer, "a measure number must be an integer", expected=expected)
    if not 1 <= value <= count:
        raise SettingError.at(pointer, "there is no measure with this number", expected=expected)
    return value


def read_pitch(value: object, pointer: str) -> int:
    """The MIDI number of a pitch's name.

    Raises WrongType or SettingError.
    """
    if not isinstance(value, str):
        raise WrongType.at(pointer, "a note must be a name", expected=PITCH_EXPECTED)
    try:
        return midi_number(value)
    except ShortwayError as error:
        raise error.under(pointer) from None
