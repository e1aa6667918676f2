"""Clefs: where each hand's notes are printed, so that nobody counts ledger lines.

Knows names of notes, no format. Each measure of a staff takes a clef or an octave sign; the
cheapest way through all measures is taken: ledger lines cost, and so does every change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from shortway.core.cancellation import checkpoint
from shortway.core.theory.pitch import LETTERS


@dataclass(frozen=True, slots=True)
class Clef:
    """A way to print a staff.

    Attributes
    ----------
    sign : str
        G or F, on the usual line; `line` counts from the bottom.
    bottom, top : int
        The outer lines in diatonic steps from C0, as they sound.
    octave : int
        1: printed an octave lower than it sounds, under an 8va; -1: higher, over an 8vb.
    """

    sign: str
    line: int
    bottom: int
    top: int
    octave: int = 0

    @property
    def plain(self) -> Clef:
        """The same clef without an octave sign."""
        return {"G": TREBLE, "F": BASS}[self.sign]


def diatonic_step(name: str) -> int:
    """Diatonic steps of a note with its octave from C0.

    >>> diatonic_step("C4"), diatonic_step("Bb3"), diatonic_step("E4")
    (28, 27, 30)
    """
    return LETTERS.index(name[0]) + 7 * int(name[1:].lstrip("b#"))


TREBLE: Final = Clef("G", 2, diatonic_step("E4"), diatonic_step("F5"))
BASS: Final = Clef("F", 4, diatonic_step("G2"), diatonic_step("A3"))
TREBLE_UP: Final = Clef("G", 2, diatonic_step("E5"), diatonic_step("F6"), 1)
BASS_DOWN: Final = Clef("F", 4, diatonic_step("G1"), diatonic_step("A2"), -1)
_CLEFS: Final = (TREBLE, BASS, TREBLE_UP, BASS_DOWN)

#: What a ledger line costs by how many there are; common practice: two are read at sight.
_LEDGERS: Final = (0, 0, 1, 5, 12, 22, 35)
#: What a change of clef costs, or an octave sign begun or ended, in the same measure.
_CHANGE: Final = 14
_OCTAVE_SIGN: Final = 10
#: What a measure costs in the other hand's clef.
_STRANGE: Final = 1


def ledger_lines(name: str, clef: Clef) -> int:
    """Ledger lines of a note.

    >>> ledger_lines("C4", TREBLE), ledger_lines("E4", BASS), ledger_lines("G5", TREBLE)
    (1, 2, 0)
    """
    at = diatonic_step(name)
    return max(0, (clef.bottom - at) // 2, (at - clef.top) // 2)


def choose_clefs(measures: Sequence[Sequence[str]], home: Clef) -> list[Clef]:
    """The clef of each measure of a staff.

    Parameters
    ----------
    measures : sequence of sequence of str
        The notes of each measure, by name.
    home : Clef
        The hand's own clef, taken where all else is equal.
    """
    clefs = (home, *(clef for clef in _CLEFS if clef != home))
    best = [[0.0 if clef in (TREBLE, BASS) else float(_OCTAVE_SIGN) for clef in clefs]]
    came: list[list[int]] = []
    for notes in measures:
        checkpoint()
        before = best[-1]
        ways = [
            min(range(len(clefs)), key=lambda a, to=to: before[a] + _change(clefs[a], to))  # type: ignore[misc]
            for to in clefs
        ]
        came.append(ways)
        best.append(
            [
                before[way] + _change(clefs[way], to) + _cost(notes, to, home)
                for way, to in zip(ways, clefs, strict=True)
            ]
        )
    return _back(clefs, best[-1], came)


def _back(
    clefs: Sequence[Clef], last: Sequence[float], came: Sequence[Sequence[int]]
) -> list[Clef]:
    """The clefs on the cheapest way, which is read from its end."""
    at = min(range(len(clefs)), key=last.__getitem__)
    found = []
    for ways in reversed(came):
        found.append(clefs[at])
        at = ways[at]
    return found[::-1]


def _change(before: Clef, after: Clef) -> int:
    if before == after:
        return 0
    return _CHANGE * (before.sign != after.sign) + _OCTAVE_SIGN * (before.octave != after.octave)


def _cost(notes: Sequence[str], clef: Clef, home: Clef) -> float:
    lines = [min(ledger_lines(name, clef), len(_LEDGERS) - 1) for name in notes]
    return sum(_LEDGERS[n] for n in lines) + _STRANGE * (clef != home and bool(notes))
