"""A review as the dict of the wire.

Knows the core and no format.
"""

from shortway.core.review.findings import Finding
from shortway.core.review.note_naming import NamedNote
from shortway.core.review.results import Hands, Review, StepReview
from shortway.core.settings.setting import setting_json
from shortway.core.solver.cost_to_go import CostToGo
from shortway.wire.serializers import Json
from shortway.wire.serializers.charts import step_json
from shortway.wire.serializers.paths import moves_json
from shortway.wire.serializers.voicings import voicing_json


def review_json(review: Review, aligned: tuple[int, int] | None = None) -> Json:
    """A review; `aligned` counts the notes of a recording that were taken and left out."""
    best = review.best
    return {
        "excess": review.excess,
        "faults": review.count("fault"),
        "remarks": review.count("remark"),
        "totals": {
            "cost": review.cost,
            "motion": review.motion,
            "loop_motion": review.loop_motion,
            "bass_motion": review.bass_motion,
            "largest_leap": review.largest_leap,
        },
        "best_totals": {
            "cost": best.cost,
            "motion": best.motion,
            "loop_motion": best.loop_motion,
            "bass_motion": best.bass_motion,
            "largest_leap": best.largest_leap,
        },
        "alignment": None if aligned is None else {"taken": aligned[0], "left_out": aligned[1]},
        "setting": setting_json(review.setting),
        "steps": [step_review_json(step) for step in review.steps],
    }


def step_review_json(step: StepReview) -> Json:
    """A step of a review; all that needs notes is null where none were played."""
    return step_json(step.step) | {
        "played": _played(step) if step.notes else None,
        "findings": [finding_json(finding) for finding in step.findings],
        "strengths": [finding_json(finding) for finding in step.strengths],
        "motion": step.motion,
        "moves": moves_json(step.moves),
        "excess": step.excess,
        "distance": step.distance,
        "best": None if step.best is None else voicing_json(step.best),
        "onward": None if step.onward is None else _onward(step.onward),
    }


def _played(step: StepReview) -> Json:
    return {
        "midi_notes": [note.midi for note in step.notes],
        "notes": [heard_json(note) for note in step.notes],
        "hands": None if step.hands is None else _hands(step.hands, step.notes),
        "family": step.family,
        "form": step.form,
    }


def heard_json(note: NamedNote) -> Json:
    """A note that was played; its degree is null where there is no chord."""
    return {
        "midi": note.midi,
        "note": note.note,
        "degree": note.degree or None,
        "is_bass": note.is_bass,
        "part": note.part,
    }


def _hands(hands: Hands, notes: tuple[NamedNote, ...]) -> Json:
    midi = [note.midi for note in notes]
    left, right = hands.span_mm
    return {
        "left": midi[: hands.left],
        "right": midi[hands.left :],
        "span_mm": {"left": left, "right": right},
    }


def finding_json(finding: Finding) -> Json:
    """One thing found."""
    return {
        "code": finding.code,
        "severity": finding.severity,
        "words": finding.words,
        "midi_notes": list(finding.midi_notes),
        "degrees": list(finding.degrees),
    }


def _onward(onward: CostToGo) -> Json:
    voicing = onward.voicing
    return {"cost": onward.cost, "voicing": None if voicing is None else voicing_json(voicing)}
