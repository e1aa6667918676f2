"""The error tree: what can be wrong with a request, said so that a musician can mend it.

Knows no other module. Every error has a stable ``code`` (the wire's), a ``detail`` in a
musician's words, and ``faults``: where it is wrong and what was expected there.

::

    ShortwayError
    ├── SymbolError          symbol-unreadable    the chord symbol, its fault and position
    ├── ChartError           chart-unreadable     the text or structure of a chart
    │   └── BeatsError       beats-do-not-fit     a measure that its chords do not fill
    ├── SettingError         out-of-range         a setting whose value cannot be
    │   ├── WrongType        wrong-type
    │   ├── UnknownField     unknown-field
    │   └── NotesNeeded      notes-needed         no one number of voices follows from the setting
    ├── NoVoicing            no-voicing           a chord that nothing may play under the setting
    ├── PinError             pin-unplayable       a pin that no candidate of its step meets
    ├── PlayedError          played-unreadable    what was played does not answer to the chart
    ├── MidiError            midi-unreadable      a MIDI file that is damaged, empty or too large
    └── TooLarge             search-too-large     more than can be solved exactly
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Self


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong.

    Parameters
    ----------
    pointer : str
        JSON pointer (RFC 6901) to the faulty value, relative to what was given; ``""``: all of it.
    detail : str
        What is wrong there, in a musician's words.
    position : int or None
        Index of the first faulty character of a text, from 0.
    expected : str or None
        What would have been right there.
    """

    pointer: str
    detail: str
    position: int | None = None
    expected: str | None = None


class ShortwayError(ValueError):
    """A request that cannot be met; ``code`` is the wire's and never changes its meaning."""

    code: ClassVar[str] = "out-of-range"

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


class SymbolError(ShortwayError):
    """A chord symbol that cannot be read; its fault has the position and what was expected."""

    code = "symbol-unreadable"


class ChartError(ShortwayError):
    """A chart whose text or structure cannot be read."""

    code = "chart-unreadable"


class BeatsError(ChartError):
    """A measure that its chords do not fill, or overfill."""

    code = "beats-do-not-fit"


class SettingError(ShortwayError):
    """A value that is well formed but cannot be."""

    code = "out-of-range"


class WrongType(SettingError):
    """A value of another type than expected; ``"4"``, 4.7 and true are not 4."""

    code = "wrong-type"


class UnknownField(SettingError):
    """A field that the contract does not know."""

    code = "unknown-field"


class NotesNeeded(SettingError):
    """The families of a setting share no one number of voices, and none was given."""

    code = "notes-needed"


class NoVoicing(ShortwayError):
    """A chord for which nothing is playable; `excluded` counts what each rule threw out."""

    code = "no-voicing"

    def __init__(self, detail: str, *faults: Fault, excluded: dict[str, int] | None = None) -> None:
        super().__init__(detail, *faults)
        self.excluded = excluded or {}


class PinError(ShortwayError):
    """A pin that no candidate of its step meets."""

    code = "pin-unplayable"


class PlayedError(ShortwayError):
    """Notes that do not answer to the steps of the chart, or are no notes."""

    code = "played-unreadable"


class MidiError(ShortwayError):
    """A MIDI file that cannot be read, or has nothing in it to read."""

    code = "midi-unreadable"


class TooLarge(ShortwayError):
    """A request too large to be solved exactly, with its size and the limit."""

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
