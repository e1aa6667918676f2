"""Accidentals of a grand staff: those that are needed, and courtesy accidentals.

Knows names of notes and key signatures. An accidental holds for its line of its staff to the end of
the measure. A courtesy accidental reminds of what holds although another alteration of that letter
was just read: in another octave or on the other staff of the measure, on the same line of the
measure before, over a tie; a note tied into a new system has its accidental again (Gould, *Behind
Bars*, 2011, on cancelling and cautionary accidentals; from memory, no page).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from shortway.scores.notation.key_signatures import split_note_name

NEEDED: Final = "needed"
COURTESY: Final = "courtesy"

#: A line: letter and octave.
Line = tuple[str, int]


class MeasureAccidentals:
    """The accidentals of one measure, told in playing order.

    Parameters
    ----------
    key : mapping
        The letters that the signature alters.
    before : mapping
        `altered` of the measure before.
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

    def tied(self, names: Sequence[str], *, restated: bool) -> dict[str, str]:
        """The accidentals of notes that are tied from before; `restated`: in a new system."""
        found = {}
        for name in names:
            letter, alter, octave = split_note_name(name)
            if restated and alter != self._key.get(letter, 0):
                found[name] = COURTESY
            self._remember(letter, alter, octave)
        return found

    def struck(self, staff: int, names: Sequence[str]) -> dict[str, str]:
        """The accidentals of a chord, by the names of its notes."""
        notes = [(name, *split_note_name(name)) for name in names]
        alters: dict[Line, set[int]] = {}
        for _, letter, alter, octave in notes:
            alters.setdefault((letter, octave), set()).add(alter)
        found = {}
        for name, letter, alter, octave in notes:
            line = letter, octave
            in_force = self._in_force.get((staff, line), self._key.get(letter, 0))
            if len(alters[line]) > 1 or in_force != alter:
                found[name] = NEEDED
            elif (staff, line) not in self._in_force and self._misleads(letter, alter, octave):
                found[name] = COURTESY
            if name in found:
                self._in_force[staff, line] = alter if len(alters[line]) == 1 else None
            self._remember(letter, alter, octave)
        return found

    def _misleads(self, letter: str, alter: int, octave: int) -> bool:
        first = (letter, octave) not in self._read
        before = self._before.get((letter, octave), alter) if first else alter
        return self._last.get(letter, alter) != alter or before != alter

    def _remember(self, letter: str, alter: int, octave: int) -> None:
        self._last[letter] = self._read[letter, octave] = alter
