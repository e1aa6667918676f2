"""The notes before each step of a path: moves of voices, and keys."""

from dataclasses import dataclass

from shortway.core.solver.solve import Path, PathStep
from shortway.core.voice_leading.moves import Move
from shortway.core.voicings.model import Note


@dataclass(frozen=True, slots=True)
class PreviousNotes:
    """What leads into a step: the moves of all voices, and the MIDI numbers of the notes before.

    The move of the bass, if both steps have one, is the first and that of voice 0.
    """

    moves: tuple[Move, ...]
    keys: frozenset[int]


def previous_notes(path: Path) -> tuple[PreviousNotes, ...]:
    """What leads into each step from the last sounding step before it, in a loop the last one."""
    sounding = [step for step in path.steps if step.voicing is not None]
    old = _bass(sounding[-1]) if path.loop_motion is not None and sounding else None
    result = []
    for step in path.steps:
        if step.voicing is None:
            result.append(PreviousNotes((), frozenset()))
            continue
        moves, new = step.moves, _bass(step)
        keys = {move.from_midi for move in moves} | ({old.midi} if old else set())
        if old is not None and new is not None:
            bass = Move(0, old.midi, new.midi, new.midi - old.midi, old.degree, new.degree)
            moves = (bass, *moves)
        result.append(PreviousNotes(moves, frozenset(keys)))
        old = new
    return tuple(result)


def _bass(step: PathStep) -> Note | None:
    return (
        next((note for note in step.voicing.notes if note.is_bass), None) if step.voicing else None
    )
