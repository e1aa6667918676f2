"""Errors of the core: one tree, each class with the stable ``code`` of its problem on the wire.

Knows no other module. Every error has a ``detail`` in a musician's words and ``faults``: where
the request is wrong and what is expected there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Self


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a request.

    Parameters
    ----------
    pointer : str
        JSON pointer (RFC 6901) to the faulty value, relative to what was given; ``""``: all of it.
    detail : str
        What is wrong there.
    position : int or None
        Index of the first faulty character of a text, from 0.
    expected : str or None
        What is expected there.
    line, column : int or None
        The same place as `position` in a text of several lines, from 1.
    """

    pointer: str
    detail: str
    position: int | None = None
    expected: str | None = None
    line: int | None = None
    column: int | None = None


class ShortwayError(ValueError):
    """A request that is rejected; the meaning of a ``code`` never changes."""

    code: str = "out-of-range"

    def __init__(self, detail: str, *faults: Fault) -> None:
        super().__init__(detail)
        self.detail = detail
        self.faults: tuple[Fault, ...] = faults or (Fault("", detail),)

    @classmethod
    def at(
        cls, pointer: str, detail: str, position: int | None = None, expected: str | None = None
    ) -> Self:
        """The error with the one fault at `pointer`."""
        return cls(detail, Fault(pointer, detail, position, expected))

    def under(self, prefix: str) -> Self:
        """The same error, its pointers below `prefix`: for whoever holds the faulty value."""
        self.faults = tuple(replace(f, pointer=prefix + f.pointer) for f in self.faults)
        return self

    def shifted(self, by: int) -> Self:
        """The same error, its positions `by` characters later: for whoever holds the text."""
        places = (None if f.position is None else f.position + by for f in self.faults)
        found = zip(self.faults, places, strict=True)
        self.faults = tuple(replace(fault, position=place) for fault, place in found)
        return self


class SymbolError(ShortwayError):
    """A chord symbol that cannot be read; its fault has the position and what was expected."""

    code = "symbol-unreadable"


class ChartError(ShortwayError):
    """A chart whose text or structure cannot be read."""

    code = "chart-unreadable"


class BeatsError(ChartError):
    """A measure that its chords do not fill, or overfill."""

    code = "beats-do-not-fit"


class MeasuresNeeded(ChartError):
    """`measure_each` is required: the chart does not say how long its chords last."""

    code = "measures-needed"

    @classmethod
    def among(cls, count: int, position: int) -> Self:
        """The error of `count` chords without bar lines, the first of them at `position`."""
        detail = f"{count} chords without bar lines: is each a measure, or each line?"
        return cls.at("", detail, position, 'bar lines |, or measure_each: "symbol" or "line"')


class SettingError(ShortwayError):
    """A value of the right type outside its range or choices."""

    code = "out-of-range"


class WrongType(SettingError):
    """A value of another type than expected; ``"4"``, 4.7 and true are not 4."""

    code = "wrong-type"


class UnknownField(SettingError):
    """A field that is not defined."""

    code = "unknown-field"


class NotesNeeded(SettingError):
    """`notes` is required: the families of the setting share no single number of voices."""

    code = "notes-needed"


class NoVoicing(ShortwayError):
    """A chord without a playable voicing; `excluded` counts the voicings each rule excludes."""

    code = "no-voicing"

    def __init__(self, detail: str, *faults: Fault, excluded: dict[str, int] | None = None) -> None:
        super().__init__(detail, *faults)
        self.excluded = excluded or {}


class PinError(ShortwayError):
    """A pin that no candidate of its step matches."""

    code = "pin-unplayable"


class PlayedError(ShortwayError):
    """Played notes that do not match the steps of the chart, or are not notes."""

    code = "played-unreadable"


class Unavailable(ShortwayError):
    """A helper process ended, or does not answer: the request is valid and may be repeated."""

    code = "unavailable"


class FormatUnavailable(ShortwayError):
    """A format whose reader is an optional package that is not installed."""

    code = "format-unavailable"


class MidiError(ShortwayError):
    """A MIDI file that is damaged, empty or too large."""

    code = "midi-unreadable"


class TooLarge(ShortwayError):
    """A request too large to solve exactly; the detail gives its size and the limit."""

    code = "search-too-large"


def token(name: object) -> str:
    """A name as a step of a JSON pointer (RFC 6901), cut to a length that can be shown.

    >>> token("a/b~c")
    '/a~1b~0c'
    """
    return "/" + str(name)[:80].replace("~", "~0").replace("/", "~1")


def one_of(words: Sequence[str]) -> str:
    """``a, b or c``: how an `expected` lists its choices.

    >>> one_of(["written", "available"])
    'written or available'
    """
    *head, last = words
    return f"{', '.join(head)} or {last}" if head else last
