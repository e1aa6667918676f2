"""Input: what somebody played at each step of a chart, read strictly.

Knows pitches, steps and errors. One entry a step, N.C. and held chords among them: a list of MIDI
numbers or note names, or nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from shortway.core.charts.json_values import read_pitch
from shortway.core.errors import PlayedError, SettingError, WrongType

#: The keys of a piano, A0 to C8.
LOWEST_KEY, HIGHEST_KEY = 21, 108
#: Most notes at one step: ten fingers, two of them on two keys.
MOST_PLAYED: Final = 12

Played = tuple[tuple[int, ...], ...]

_EXPECTED: Final = "a list of notes for each step, or null where nothing was played"


def read_played(value: object, steps: int) -> Played:
    """MIDI numbers for each of `steps` steps, ascending; empty where nothing was played.

    Pointers are relative to `value`.

    Raises
    ------
    PlayedError
        If there are more or fewer entries than steps, or a key is given twice or too many.
    SettingError, WrongType
        If an entry is no list, or a note none of the keyboard's.

    >>> read_played([["E4", 58], None], 2)
    ((58, 64), ())
    """
    if not isinstance(value, list | tuple):
        raise WrongType.at("", "what was played is a list", expected=_EXPECTED)
    if len(value) != steps:
        detail = f"the chart has {steps:,} steps, and what was played {len(value):,}"
        expected = f"{steps:,} entries, N.C. and held chords counted, repeats played out"
        raise PlayedError.at("", detail, expected=expected)
    return tuple(_entry(entry, f"/{index}") for index, entry in enumerate(value))


def _entry(value: object, pointer: str) -> tuple[int, ...]:
    if value is None:
        return ()
    if not isinstance(value, list | tuple):
        raise WrongType.at(pointer, "a step's notes are a list", expected=_EXPECTED)
    notes = [_key(note, f"{pointer}/{index}") for index, note in enumerate(value)]
    _refuse_many(notes, pointer)
    for index, note in enumerate(notes):
        if note in notes[:index]:
            expected = "each key once"
            raise PlayedError.at(f"{pointer}/{index}", "this key is given twice", expected=expected)
    return tuple(sorted(notes))


def _key(value: object, pointer: str) -> int:
    midi = value if type(value) is int else read_pitch(value, pointer)
    if not LOWEST_KEY <= midi <= HIGHEST_KEY:
        detail = f"{value} is off the keyboard"
        raise SettingError.at(pointer, detail, expected="A0 to C8, MIDI numbers 21 to 108")
    return midi


def _refuse_many(notes: Sequence[int], pointer: str) -> None:
    if len(notes) > MOST_PLAYED:
        detail = f"{len(notes)} notes at one step"
        raise PlayedError.at(pointer, detail, expected=f"at most {MOST_PLAYED}")
