"""Answers: what the core says of a chord and of a chart, as frozen values.

Knows steps, voicings and moves; computes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from shortway.core.charts import Step
from shortway.core.harmony.context import Context
from shortway.core.settings.setting import Setting
from shortway.core.theory.chord import Chord
from shortway.core.voice_leading.remarks import Move
from shortway.core.voicings.model import Voicing


@dataclass(frozen=True, slots=True)
class Ranked:
    """A listed voicing; `motion` in semitones from the notes that sounded, if any were given."""

    voicing: Voicing
    motion: int | None


@dataclass(frozen=True, slots=True)
class Listing:
    """Voicings of one chord: `total` counts them all, `voicings` are those of the page."""

    chord: Chord
    setting: Setting
    total: int
    voicings: tuple[Ranked, ...]


@dataclass(frozen=True, slots=True)
class PathStep:
    """A step with its voicing and how the step before leads into it; an N.C. has None.

    `context` is what its chord does there, where the setting asks for tensions in context.
    """

    step: Step
    voicing: Voicing | None
    motion: int | None
    moves: tuple[Move, ...]
    remark: str
    context: Context | None = None


@dataclass(frozen=True, slots=True)
class Size:
    """What was searched: steps, candidates of all nodes, transitions between them.

    Steps that hold their voicing make one node, so that anyone can count again.
    """

    steps: int
    candidates: int
    transitions: int


@dataclass(frozen=True, slots=True)
class Path:
    """One voicing a step, with the least motion of all.

    Attributes
    ----------
    total : int
        Motion in semitones, from `start` and round the `loop` included.
    loop : int or None
        The motion from the last step back to the first, where the form is played round.
    start : int or None
        The motion from the notes that sounded before, where given.
    bass, largest_leap : int
        Motion of the bass in all; the largest move of any other voice.
    top_line : int or None
        Semitones by which the top voice goes against what was asked of it; None if nothing was.
    """

    total: int
    loop: int | None
    start: int | None
    bass: int
    largest_leap: int
    size: Size
    setting: Setting
    steps: tuple[PathStep, ...]
    alternatives: tuple[Path, ...] = ()
    top_line: int | None = None
