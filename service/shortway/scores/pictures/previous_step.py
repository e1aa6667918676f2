"""What sounded before each step of a path: voice by voice, and key by key.

Knows the core's answers; draws nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from shortway.core.solver.solve import Path, PathStep
from shortway.core.voice_leading.remarks import Move
from shortway.core.voicings.model import Note


@dataclass(frozen=True, slots=True)
class PreviousNotes:
    """How a step is led into.

    Attributes
    ----------
    moves : tuple of Move
        Those of its upper voices.
    bass : Move or None
        That of the bass, where both steps have one; voice 0.
    keys : frozenset of int
        MIDI numbers that sounded before.
    """

    moves: tuple[Move, ...]
    bass: Move | None
    keys: frozenset[int]

    @property
    def every(self) -> tuple[Move, ...]:
        """All moves, from the bottom."""
        return self.moves if self.bass is None else (self.bass, *self.moves)


def previous_notes(path: Path) -> tuple[PreviousNotes, ...]:
    """What leads into each step: the last sounding step before it, in a loop round the end."""
    sounding = [step for step in path.steps if step.voicing is not None]
    before = sounding[-1] if path.loop_motion is not None and sounding else None
    result = []
    for step in path.steps:
        result.append(_lead(before, step))
        before = step if step.voicing is not None else before
    return tuple(result)


def _lead(before: PathStep | None, step: PathStep) -> PreviousNotes:
    if step.voicing is None:
        return PreviousNotes((), None, frozenset())
    old, new = _bass(before), _bass(step)
    bass = None
    if old is not None and new is not None:
        bass = Move(0, old.midi, new.midi, new.midi - old.midi, old.degree, new.degree)
    keys = {move.from_midi for move in step.moves} | ({old.midi} if old else set())
    return PreviousNotes(step.moves, bass, frozenset(keys))


def _bass(step: PathStep | None) -> Note | None:
    if step is None or step.voicing is None:
        return None
    return next((note for note in step.voicing.notes if note.bass), None)
