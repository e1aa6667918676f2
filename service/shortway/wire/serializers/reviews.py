"""A review as the dict of the wire.

Knows the core and no format.
"""

from typing import Final

import orjson

from shortway.core.cache import compact
from shortway.core.review.note_naming import NamedNote
from shortway.core.review.results import Hands, Review, StepReview, VoicingReview
from shortway.core.solver.cost_to_go import CostToGo
from shortway.wire.serializers import Json
from shortway.wire.serializers.charts import step_json
from shortway.wire.serializers.paths import moves_bytes
from shortway.wire.serializers.voicings import setting_bytes, voicing_bytes

_TOTALS: Final = ("cost", "motion", "loop_motion", "bass_motion", "largest_leap")


def review_json(review: Review, aligned: tuple[int, int] | None = None) -> Json:
    """The JSON of `review_bytes` as values."""
    found: Json = orjson.loads(review_bytes(review, aligned))
    return found


def review_bytes(review: Review, aligned: tuple[int, int] | None = None) -> bytes:
    """A review; `aligned` counts the notes of a recording that were taken and left out."""
    return orjson.dumps({
        "excess": review.excess,
        "faults": review.count("fault"),
        "remarks": review.count("remark"),
        "totals": {name: getattr(review, name) for name in _TOTALS},
        "best_totals": {name: getattr(review.best, name) for name in _TOTALS},
        "alignment": None if aligned is None else {"taken": aligned[0], "left_out": aligned[1]},
        "setting": orjson.Fragment(setting_bytes(review.setting)),
        "steps": [_step(step) for step in review.steps],
    })  # fmt: skip


def _step(step: StepReview) -> Json:
    """A step of a review; all that needs notes is null where none were played."""
    return step_json(step.step) | {
        "played": _played(step.played) if step.notes else None,
        "findings": step.findings,
        "strengths": step.strengths,
        "motion": step.motion,
        "moves": orjson.Fragment(moves_bytes(step.moves)),
        "excess": step.excess,
        "distance": step.distance,
        "best": None if step.best is None else orjson.Fragment(voicing_bytes(step.best)),
        "onward": None if step.onward is None else _onward(step.onward),
    }


def _played(played: VoicingReview) -> orjson.Fragment:
    """The notes, with whose review their JSON stays."""
    if not played.fragment:
        found = {
            "midi_notes": [note.midi for note in played.notes],
            "notes": [heard_json(note) for note in played.notes],
            "hands": None if played.hands is None else _hands(played.hands, played.notes),
            "family": played.family,
            "form": played.form,
        }
        object.__setattr__(played, "fragment", compact(orjson.dumps(found)))
    return orjson.Fragment(played.fragment)


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


def _onward(onward: CostToGo) -> Json:
    voicing = onward.voicing
    played = None if voicing is None else orjson.Fragment(voicing_bytes(voicing))
    return {"cost": onward.cost, "voicing": played}
