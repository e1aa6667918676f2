"""Moves: how each voice comes from one voicing into the next.

Knows notes of voicings.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

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


class Voices(NamedTuple):
    """The moves of all voices, field by field: one entry a voice, from the bottom up.

    A degree is empty where the note belongs to no chord.
    """

    from_midi: tuple[int, ...]
    to_midi: tuple[int, ...]
    semitones: tuple[int, ...]
    from_degree: tuple[str, ...]
    to_degree: tuple[str, ...]

    @property
    def moves(self) -> tuple[Move, ...]:
        """Voice by voice."""
        return tuple([
            Move(voice, a, b, by, before or None, after)
            for voice, (a, b, by, before, after) in enumerate(zip(*self, strict=True), start=1)
        ])  # fmt: skip

    def splits(self, before: int, after: int) -> int:
        """How often notes split or merge, where so many become so many."""
        return 2 * len(self.semitones) - before - after


NO_VOICES: Final = Voices((), (), (), (), ())


def voices_between(before: Sequence[Note], after: Sequence[Note], split_cost: int) -> Voices:
    """How the upper notes `before` move to those `after`.

    Where sizes differ, by the least assignment: notes that split or merge come again.
    """
    pairs = list(zip(before, after, strict=False))
    if len(before) != len(after):
        old, new = ({note.midi: note for note in notes} for notes in (before, after))
        least = least_assignment(list(old), list(new), split_cost=split_cost)
        pairs = [(old[a], new[b]) for a, b in least.pairs]
    fields = [(a.midi, b.midi, b.midi - a.midi, a.degree, b.degree) for a, b in pairs]
    return Voices(*zip(*fields, strict=True))


def bass_motion(before: Note, after: Note) -> int:
    """Semitones between two lowest notes; 0 unless both are a bass."""
    return abs(after.midi - before.midi) if before.is_bass and after.is_bass else 0
