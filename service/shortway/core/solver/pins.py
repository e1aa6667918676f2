"""Pins: voicings that a request fixes at given steps.

Knows voicings and the setting's words. A pin names the notes, the family, the form or the top
note; a candidate matches it if it has all of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal, cast

import numpy as np
from numpy.typing import NDArray

from shortway.core.errors import PinError, SettingError, WrongType, one_of
from shortway.core.settings.families import FAMILIES
from shortway.core.settings.fields import MOST_NOTES, read_choice, read_pitch_name, refuse_unknown
from shortway.core.theory.pitch import pitch_name
from shortway.core.voice_leading.distance import least_assignment
from shortway.core.voicings.candidate_arrays import Candidates

FIELDS: Final = ("step", "midi_notes", "family", "form", "top")


@dataclass(frozen=True, slots=True)
class Pin:
    """What the voicing of one step must be.

    Attributes
    ----------
    step : int
        From 0, in the unrolled chart.
    midi_notes : tuple of int or None
        All its notes, ascending, the bass among them.
    family, form : str or None
    top : int or None
        MIDI number of its highest note.
    """

    step: int
    midi_notes: tuple[int, ...] | None = None
    family: str | None = None
    form: Literal["A", "B"] | None = None
    top: int | None = None

    def meets(self, candidates: Candidates) -> NDArray[np.intp]:
        """Indices of the candidates that match the pin; shape (matches,)."""
        return np.array(
            [k for k in range(len(candidates)) if self._met(candidates, k)], dtype=np.intp
        )

    def _met(self, candidates: Candidates, k: int) -> bool:
        midi = candidates.midi(k)
        return (
            (self.midi_notes is None or midi == self.midi_notes)
            and (self.top is None or midi[-1] == self.top)
            and (self.family is None or candidates.family(k) == self.family)
            and (self.form is None or candidates.form(k) == self.form)
        )

    def refusal(self, candidates: Candidates, symbol: str, pointer: str) -> PinError:
        """The error that no candidate matches the pin, with the nearest candidate."""
        names = [pitch_name(n) for n in self.midi_notes or ()]
        asked = [" ".join(names), self.family, self.form and f"form {self.form}"]
        if self.top is not None:
            asked.append(f"{pitch_name(self.top)} on top")
        what = ", ".join(word for word in asked if word)
        return PinError.at(
            pointer,
            f"step {self.step} ({symbol}) has no voicing with {what} under this setting",
            expected=self._nearest(candidates),
        )

    def _nearest(self, candidates: Candidates) -> str:
        if self.midi_notes is None:
            return "one of the voicings that are listed for this symbol and setting"
        wanted = self.midi_notes
        nearest = min(
            (candidates.midi(k) for k in range(len(candidates))),
            key=lambda midi: least_assignment(wanted, midi).size,
        )
        return "a listed voicing; the nearest is " + " ".join(pitch_name(n) for n in nearest)


def read_pins(given: Sequence[Pin | Mapping[str, object]]) -> tuple[Pin, ...]:
    """Pins from their wire form.

    Raises
    ------
    WrongType, UnknownField, SettingError
        With pointers relative to the list.
    """
    pins = []
    for index, value in enumerate(given):
        try:
            pins.append(value if isinstance(value, Pin) else _pin(value))
        except SettingError as error:
            raise error.under(f"/{index}") from None
    return tuple(pins)


def _pin(value: object) -> Pin:
    if not isinstance(value, Mapping):
        raise WrongType.at("", "a pin is an object", expected="an object")
    refuse_unknown(value, FIELDS, "")
    step = value.get("step")
    if type(step) is not int:
        raise WrongType.at("/step", "a pin names its step", expected="a whole number from 0")
    if not any(value.get(name) is not None for name in FIELDS[1:]):
        raise SettingError.at("", "a pin without a requirement", expected=one_of(FIELDS[1:]))
    midi_notes = value.get("midi_notes")
    return Pin(
        step,
        None if midi_notes is None else read_notes(midi_notes, "/midi_notes"),
        read_choice(value, "family", tuple(FAMILIES), "") or None,
        cast("Literal['A', 'B'] | None", read_choice(value, "form", ("A", "B"), "") or None),
        None if value.get("top") is None else read_pitch_name(value, "top", "/top", ""),
    )


def read_keep(given: Sequence[Mapping[str, object]]) -> dict[int, tuple[int, ...]]:
    """The notes to keep, by step, from their wire form.

    Raises
    ------
    WrongType, UnknownField, SettingError
        With pointers relative to the list.
    """
    keep: dict[int, tuple[int, ...]] = {}
    for index, value in enumerate(given):
        if not isinstance(value, Mapping):
            raise WrongType.at(f"/{index}", "kept notes are an object", expected="an object")
        refuse_unknown(value, ("step", "midi_notes"), f"/{index}")
        step = value.get("step")
        if type(step) is not int:
            raise WrongType.at(f"/{index}/step", "no step", expected="a whole number from 0")
        if step in keep:
            raise SettingError.at(f"/{index}/step", f"step {step} twice", expected="each step once")
        keep[step] = read_notes(value.get("midi_notes"), f"/{index}/midi_notes")
    return keep


def read_notes(value: object, pointer: str) -> tuple[int, ...]:
    """MIDI numbers of sounding notes, ascending, from 1 to 10 different ones in any order.

    Raises
    ------
    WrongType, SettingError
        With pointers below `pointer`.
    """
    expected = f"1 to {MOST_NOTES} different MIDI numbers, 0 to 127"
    if not isinstance(value, (list, tuple)):
        raise WrongType.at(pointer, "notes are a list of MIDI numbers", expected=expected)
    for index, number in enumerate(value):
        if type(number) is not int:
            raise WrongType.at(f"{pointer}/{index}", "not a MIDI number", expected="0 to 127")
        if not 0 <= number <= 127:
            raise SettingError.at(f"{pointer}/{index}", f"no key {number}", expected="0 to 127")
    if not value or len(set(value)) < len(value) or len(value) > MOST_NOTES:
        raise SettingError.at(pointer, f"{len(value)} notes, or one twice", expected=expected)
    return tuple(sorted(value))
