"""Difficulty: how far each step of a path asks the hands to stretch, to move and to travel.

Knows paths and the keyboard. That hand span, displacement of the hand, notes struck at once and
black keys make piano music hard is what studies of its difficulty count (Chiu and Chen, *A study on
difficulty level recognition of piano sheet music*, IEEE ISM 2012; Sébastien et al., *Score
Analyzer*, ISMIR 2012; both from memory). The weights are our own: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, NamedTuple

from shortway.core.settings.keyboard import OCTAVE_MM, distance_mm, is_black_key
from shortway.core.solver.results import Path
from shortway.core.voicings.model import Note, Voicing

#: What each quantity weighs of 100.
WEIGHTS: Final = {"span": 35, "moved": 25, "distance": 25, "black_keys": 15}
#: Measures that are named as the hardest, and as the easiest, at most.
NAMED: Final = 3


class StepDifficulty(NamedTuple):
    """The difficulty of a step.

    Attributes
    ----------
    step, measure : int
        From 0; as the chart numbers them, from 1.
    difficulty : int
        0 to 100: each quantity's share of the most it may be, weighed by `WEIGHTS`.
    span_mm : float
        Of the hand that is spread wider, thumb to little finger; the most is the reach.
    moved : int
        Notes that the same hand did not hold in the step before; the most is all notes.
    distance_mm : float
        How far the middle of a hand travels, of the hand that travels further; the most, from which
        on more counts no more, is an octave.
    black_keys : int
        Notes on black keys; the most is all notes.
    """

    step: int
    measure: int
    difficulty: int
    span_mm: float
    moved: int
    distance_mm: float
    black_keys: int


@dataclass(frozen=True, slots=True)
class PathDifficulty:
    """The difficulty of a path's steps but N.C., and its hardest and easiest measures.

    A measure is as hard as its hardest step; of equal ones the first comes first.
    """

    steps: tuple[StepDifficulty, ...]
    hardest_measures: tuple[int, ...]
    easiest_measures: tuple[int, ...]


def rate_difficulty(path: Path) -> PathDifficulty:
    """The difficulty of each step of a path; N.C. is passed over.

    The last step leads into the first where the path is a loop; else nothing moves there.

    >>> from shortway.core.solver.solve import solve
    >>> rated = rate_difficulty(solve("| Fm7 | Bb7 | Ebmaj7 | % |", {"hands": "left"}))
    >>> [(one.difficulty, one.moved, one.black_keys) for one in rated.steps]
    [(30, 0, 2), (45, 2, 1), (40, 2, 0), (25, 0, 0)]
    """
    steps = tuple(_rate_steps(path))
    hardest: dict[int, int] = {}
    for step in steps:
        hardest[step.measure] = max(step.difficulty, hardest.get(step.measure, 0))
    ranked = [sorted(hardest, key=lambda bar: sign * hardest[bar])[:NAMED] for sign in (-1, 1)]
    return PathDifficulty(steps, *map(tuple, ranked))


def _rate_steps(path: Path) -> Iterator[StepDifficulty]:
    sounding = [
        (place, step.step.measure, step.voicing)
        for place, step in enumerate(path.steps)
        if step.voicing is not None
    ]
    before = sounding[-1][2] if sounding and path.loop_motion is not None else None
    for place, measure, voicing in sounding:
        yield _rate(place, measure, before or voicing, voicing, path.setting.reach_mm)
        before = voicing


def _rate(
    place: int, measure: int, before: Voicing, voicing: Voicing, reach: float
) -> StepDifficulty:
    hands = [(before.left, voicing.left), (before.right, voicing.right)]
    count = len(voicing.notes)
    span = max(_widest(notes) for _, notes in hands)
    moved = sum(len({n.midi for n in notes} - {n.midi for n in was}) for was, notes in hands)
    distance = max(_travel(was, notes) for was, notes in hands)
    black = sum(is_black_key(note.midi) for note in voicing.notes)
    shares = {
        "span": span / reach,
        "moved": moved / count,
        "distance": min(1.0, distance / OCTAVE_MM),
        "black_keys": black / count,
    }
    difficulty = round(sum(WEIGHTS[name] * min(1.0, share) for name, share in shares.items()))
    return StepDifficulty(
        place, measure, difficulty, round(span, 1), moved, round(distance, 1), black
    )


def _widest(notes: tuple[Note, ...]) -> float:
    return distance_mm(notes[0].midi, notes[-1].midi) if notes else 0.0


def _travel(before: tuple[Note, ...], after: tuple[Note, ...]) -> float:
    """By how much the middle of the hand's outer keys moves; 0 from or to an empty hand."""
    if not before or not after:
        return 0.0
    moves = [distance_mm(before[end].midi, after[end].midi) for end in (0, -1)]
    return abs(sum(moves)) / 2
