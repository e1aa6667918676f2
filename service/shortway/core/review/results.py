"""Results: what is said of somebody's playing, as frozen values.

Knows steps, notes, findings and paths; computes nothing but sums.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from shortway.core.charts import Step
from shortway.core.review.findings import Finding, VoicingContext
from shortway.core.review.note_naming import NamedNote
from shortway.core.settings.setting import Setting
from shortway.core.solver.cost_to_go import CostToGo
from shortway.core.solver.results import Path
from shortway.core.voice_leading.moves import Move
from shortway.core.voicings.model import Form, Voicing


@dataclass(frozen=True, slots=True)
class Hands:
    """How two hands share the notes: the left hand's number of them, spans in mm."""

    left: int
    span_mm: tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class VoicingReview:
    """What is to be said of the notes played at a step by themselves.

    Attributes
    ----------
    notes : tuple of NamedNote
        Ascending; empty where none were played.
    context : VoicingContext or None
        What `findings` judge, as if nothing were to hold below a melody; None where nothing is
        judged, and then so are the others.
    findings : tuple of Finding
    row : int or None
        Which candidate of the step it is; None where it is none.
    hands : Hands or None
        None where no hands can play them.
    family, form : str or None
        Of the candidate that it is.
    fragment : bytes
        A place for what a serializer makes of it; empty before.
    """

    notes: tuple[NamedNote, ...]
    context: VoicingContext | None = None
    findings: tuple[Finding, ...] = ()
    row: int | None = None
    hands: Hands | None = None
    family: str | None = None
    form: Form | None = None
    fragment: bytes = field(default=b"", init=False, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class StepReview:
    """A step, what was played there, and what is to be said of it.

    Attributes
    ----------
    played : VoicingReview
    findings : tuple of Finding
        Those of the notes by themselves among them.
    strengths : tuple of Finding
        What was played well.
    motion : int or None
        Semitones into it from what was played before; unlike numbers by least assignment.
    excess : int or None
        What the step cost beyond the least; below 0 where notes that no family lists get there
        shorter.
    distance : int or None
        Semitones from its upper notes to the best path's, by least assignment.
    best : Voicing or None
        The best path's.
    onward : CostToGo or None
        The best continuation from here.
    """

    step: Step
    played: VoicingReview
    findings: tuple[Finding, ...]
    motion: int | None = None
    moves: tuple[Move, ...] = ()
    excess: int | None = None
    distance: int | None = None
    best: Voicing | None = None
    onward: CostToGo | None = None
    strengths: tuple[Finding, ...] = ()

    @property
    def notes(self) -> tuple[NamedNote, ...]:
        """What was played there."""
        return self.played.notes

    @property
    def hands(self) -> Hands | None:
        """Whose notes they are."""
        return self.played.hands


@dataclass(frozen=True, slots=True)
class Review:
    """What was played, step by step, and beside the best path through the same steps.

    Attributes
    ----------
    excess : int
        Cost of what was played, less that of `best`, in semitones.
    cost : int
        Motion and prices of what was played.
    motion, bass_motion, largest_leap, loop_motion : int
        Of what was played, as a `Path` counts them.
    best : Path
        The best path through the steps at which something was played.
    """

    setting: Setting
    steps: tuple[StepReview, ...]
    motion: int
    loop_motion: int | None
    bass_motion: int
    largest_leap: int
    best: Path
    cost: int = 0

    @property
    def excess(self) -> int:
        """Semitones paid beyond the least cost."""
        return self.cost - self.best.cost

    def count(self, severity: str) -> int:
        """How many findings are of `severity`."""
        return sum(f.severity == severity for step in self.steps for f in step.findings)
