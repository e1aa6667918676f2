"""Clefs of a staff, chosen to minimise ledger lines.

Knows names of notes, no format. Each measure has a clef or an octave sign; the cheapest sequence
is chosen, where ledger lines and changes have a cost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from operator import add
from typing import Final

from shortway.core.cancellation import checkpoint
from shortway.core.theory.pitch import LETTERS


@dataclass(frozen=True, slots=True)
class Clef:
    """A clef, G or F, on a line counted from the bottom, with or without an octave sign.

    `bottom` and `top` are the sounding outer lines in diatonic steps from C0; `octave` is 1 under
    an 8va, -1 over an 8vb, else 0.
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


@lru_cache(maxsize=1024)
def diatonic_step(name: str) -> int:
    """Diatonic steps from C0 to a note.

    >>> diatonic_step("C4"), diatonic_step("Bb3"), diatonic_step("E4")
    (28, 27, 30)
    """
    return LETTERS.index(name[0]) + 7 * int(name[1:].lstrip("b#"))


TREBLE: Final = Clef("G", 2, diatonic_step("E4"), diatonic_step("F5"))
BASS: Final = Clef("F", 4, diatonic_step("G2"), diatonic_step("A3"))
TREBLE_UP: Final = Clef("G", 2, diatonic_step("E5"), diatonic_step("F6"), 1)
BASS_DOWN: Final = Clef("F", 4, diatonic_step("G1"), diatonic_step("A2"), -1)
_CLEFS: Final = (TREBLE, BASS, TREBLE_UP, BASS_DOWN)

#: Cost of a note by its ledger lines; common practice: two are easily read.
_LEDGERS: Final = (0, 0, 1, 5, 12, 22, 35)
#: Cost of a change of clef, of the begin or end of an octave sign, and of the other hand's clef.
_CHANGE: Final = 14
_OCTAVE_SIGN: Final = 10
_OTHER_CLEF: Final = 1
#: How often the cost of a change counts where a note is tied over it: never worth it.
_TIED: Final = 10_000


def ledger_lines(name: str, clef: Clef) -> int:
    """Ledger lines of a note.

    >>> ledger_lines("C4", TREBLE), ledger_lines("E4", BASS), ledger_lines("G5", TREBLE)
    (1, 2, 0)
    """
    at = diatonic_step(name)
    return max(0, (clef.bottom - at) // 2, (at - clef.top) // 2)


def choose_clefs(
    measures: Sequence[tuple[str, ...]], home: Clef, held: Sequence[bool]
) -> list[Clef]:
    """The clef of each measure of a staff.

    `measures` has the names of the notes of each; `home`, the hand's own clef, is preferred. No
    clef changes, and no octave sign begins or ends, where `held` says that a note is tied into the
    measure (Gould, *Behind Bars*, 2011, on clefs within ties; from memory, no page).
    """
    clefs = _preferred(home)
    changes = [[_change(before, after) for before in clefs] for after in clefs]
    tied_changes = [[_TIED * cost for cost in row] for row in changes]
    costs, back = [_OCTAVE_SIGN * abs(clef.octave) for clef in clefs], []
    for notes, tied in zip(measures, held, strict=True):
        checkpoint()
        own, following, came = _costs(notes, home), [], []
        for cost, row in zip(own, tied_changes if tied else changes, strict=True):
            reached = list(map(add, costs, row))
            least = min(reached)
            following.append(least + cost)
            came.append(reached.index(least))
        costs = following
        back.append(came)
    at, found = costs.index(min(costs)), list[Clef]()
    for came in reversed(back):
        found.append(clefs[at])
        at = came[at]
    return found[::-1]


def _preferred(home: Clef) -> tuple[Clef, ...]:
    return (home, *[clef for clef in _CLEFS if clef is not home])


def _change(before: Clef, after: Clef) -> int:
    return _CHANGE * (before.sign != after.sign) + _OCTAVE_SIGN * (before.octave != after.octave)


@lru_cache(maxsize=8192)
def _costs(notes: tuple[str, ...], home: Clef) -> tuple[int, ...]:
    """The cost of a measure in each clef, `home` first."""
    most = len(_LEDGERS) - 1
    return tuple(
        sum(_LEDGERS[min(ledger_lines(name, clef), most)] for name in notes)
        + _OTHER_CLEF * (clef is not home and bool(notes))
        for clef in _preferred(home)
    )
