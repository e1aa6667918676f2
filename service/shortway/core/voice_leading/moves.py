"""Moves: how each voice comes from one voicing into the next.

Knows notes of voicings.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from shortway.core.voice_leading.distance import least_assignment
from shortway.core.voicings.model import Note


class Move(NamedTuple):
    """One voice from a step to the next.

    Attributes
    ----------
    voice : int
        Counted from 1 at the bottom, the bass excluded; where sizes differ, along the moves.
    from_midi, to_midi, semitones : int
        Down is negative.
    from_degree : str or None
        None where the note before belongs to no chord of the path (`start_from`).
    to_degree : str
        The degree in the new chord: a 9 held over a falling fifth becomes the 13.
    """

    voice: int
    from_midi: int
    to_midi: int
    semitones: int
    from_degree: str | None
    to_degree: str


#: Notes, and as many to which they move one by one, from the bottom up.
Pairs = tuple[Sequence[Note], Sequence[Note]]


def paired(before: Sequence[Note], after: Sequence[Note], split_cost: int) -> Pairs:
    """The upper notes `before` and `after` as they move to each other.

    Where sizes differ, by the least assignment: notes that split or merge come again.
    """
    if len(before) == len(after):
        return before, after
    old, new = ({note.midi: note for note in notes} for notes in (before, after))
    pairs = least_assignment(list(old), list(new), split_cost=split_cost).pairs
    return [old[a] for a, _ in pairs], [new[b] for _, b in pairs]


def moves(pairs: Pairs) -> tuple[Move, ...]:
    """The move of each voice; notes without a degree belong to no chord."""
    return tuple([
        Move(voice, a.midi, b.midi, b.midi - a.midi, a.degree or None, b.degree)
        for voice, (a, b) in enumerate(zip(*pairs, strict=True), start=1)
    ])  # fmt: skip
