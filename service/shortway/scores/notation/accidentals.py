"""Accidentals of a grand staff: those that are needed, and courtesy accidentals.

Knows names of notes and key signatures. An accidental holds for its line of its staff to the end of
the measure. A courtesy accidental reminds of what holds although another alteration of that letter
was just read: in another octave or on the other staff of the measure, on the same line of the
measure before, over a tie; a note tied into a new system has its accidental again (Gould, *Behind
Bars*, 2011, on cancelling and cautionary accidentals; from memory, no page).
"""

from collections import Counter
from collections.abc import Mapping
from functools import lru_cache
from typing import Final

from shortway.scores.notation.key_signatures import split_note_name

NEEDED: Final = "needed"
COURTESY: Final = "courtesy"

#: A line: letter and octave.
Line = tuple[str, int]


class MeasureAccidentals:
    """The accidentals of one measure, told in playing order.

    `key`: the letters that the signature alters. `before`: `altered` of the measure before.
    """

    def __init__(self, key: Mapping[str, int], before: Mapping[Line, int]) -> None:
        self._key, self._before = key, before
        self._in_force: dict[tuple[int, Line], int | None] = {}
        self._last: dict[str, int] = {}
        self._read: dict[Line, int] = {}

    @property
    def altered(self) -> dict[Line, int]:
        """The lines whose last alteration is not that of the signature."""
        return {ln: alter for ln, alter in self._read.items() if alter != self._key.get(ln[0], 0)}

    def tied(self, names: tuple[str, ...], *, restated: bool) -> dict[str, str]:
        """The accidentals of notes that are tied from before; `restated`: in a new system."""
        found = {}
        for name, line, alter, _ in _lines(names):
            if restated and alter != self._key.get(line[0], 0):
                found[name] = COURTESY
            self._last[line[0]] = self._read[line] = alter
        return found

    def struck(self, staff: int, names: tuple[str, ...]) -> dict[str, str]:
        """The accidentals of a chord, by the names of its notes."""
        found = {}
        for name, line, alter, shared in _lines(names):
            place = staff, line
            in_force = self._in_force.get(place, self._key.get(line[0], 0))
            if shared or in_force != alter:
                found[name] = NEEDED
            elif place not in self._in_force and self._misleads(line, alter):
                found[name] = COURTESY
            if name in found:
                self._in_force[place] = None if shared else alter
            self._last[line[0]] = self._read[line] = alter
        return found

    def _misleads(self, line: Line, alter: int) -> bool:
        before = alter if line in self._read else self._before.get(line, alter)
        return self._last.get(line[0], alter) != alter or before != alter


@lru_cache(maxsize=8192)
def _lines(names: tuple[str, ...]) -> tuple[tuple[str, Line, int, bool], ...]:
    """The line and alteration of each note of a chord; whether another one is on its line."""
    split = {name: split_note_name(name) for name in names}
    lines = Counter((letter, octave) for letter, _, octave in split.values())
    return tuple(
        (name, (letter, octave), alter, lines[letter, octave] > 1)
        for name, (letter, alter, octave) in split.items()
    )
