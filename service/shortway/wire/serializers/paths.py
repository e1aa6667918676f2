"""Paths as JSON values."""

from __future__ import annotations

from shortway.core.cache import Cache
from shortway.core.cancellation import checkpoint
from shortway.core.harmony.context import Context
from shortway.core.settings.setting import setting_json
from shortway.core.solver.solve import Move, Path, PathStep
from shortway.core.voicings.model import Voicing
from shortway.wire.serializers import Json
from shortway.wire.serializers.charts import brief_step_json, step_json
from shortway.wire.serializers.voicings import price_items_json, voicing_json

# The core tells many paths with the same voicings; what they look like on the wire is kept beside
# the very object, so that its identity stays its own.
_HELD: Cache[int, tuple[Voicing, Json]] = Cache("wire", 16 << 20, lambda _: 1800)


def move_json(move: Move) -> Json:
    """How one voice came into a step."""
    return {
        "voice": move.voice,
        "from_midi": move.from_midi,
        "to_midi": move.to_midi,
        "semitones": move.semitones,
        "from_degree": move.from_degree,
        "to_degree": move.to_degree,
    }


def _held(voicing: Voicing) -> Json:
    """The shape of `voicing`, shared between answers: to be read, not to be changed."""
    of, shape = _HELD.get(id(voicing), lambda: (voicing, voicing_json(voicing)))
    return shape if of is voicing else voicing_json(voicing)


def path_step_json(step: PathStep, level: str = "full") -> Json:
    """A step of a path, at the full level with its voicing and the way into it."""
    notes = [] if step.voicing is None else list(step.voicing.midi_notes)
    if level == "brief":
        return brief_step_json(step.step) | {"midi_notes": notes}
    return step_json(step.step) | {
        "midi_notes": notes,
        "voicing": None if step.voicing is None else _held(step.voicing),
        "motion": step.motion,
        "cost": step.cost,
        "price_items": price_items_json(step.price_items),
        "moves": [move_json(move) for move in step.moves],
        "remark": step.remark,
        "context": None if step.context is None else context_json(step.context),
    }


def context_json(context: Context) -> Json:
    """What a step's chord does there, the degrees that it may add and those it asks for."""
    return {
        "function": context.function,
        "goal": context.goal,
        "why": context.why,
        "colours": list(context.colours),
        "wants": [list(group) for group in context.wants],
    }


def read_context(given: Json) -> Context:
    """A context from the JSON of `context_json`; what is missing has no effect."""
    return Context(
        given.get("function", "other"),
        given.get("goal", ""),
        given.get("why", ""),
        tuple(given["colours"]),
        tuple(tuple(group) for group in given.get("wants", ())),
    )


def path_json(path: Path, level: str = "full") -> Json:
    """A path; ``optimal`` is always true, for nothing else is ever answered.

    `level` is how much its steps have: ``full`` or ``brief``.
    """
    checkpoint()
    return {
        "cost": path.cost,
        "motion": path.motion,
        "bass_motion": path.bass_motion,
        "loop_motion": path.loop_motion,
        "start_motion": path.start_motion,
        "least_motion": path.least_motion,
        "largest_leap": path.largest_leap,
        "top_line_motion": path.top_line,
        "price_items": price_items_json(path.price_items),
        "optimal": True,
        "released": list(path.released),
        "choices": [
            {"voicing": _held(of.voicing), "cost": of.cost, "motion": of.motion}
            for of in path.choices
        ],
        "size": {
            "steps": path.size.steps,
            "candidates": path.size.candidates,
            "transitions": path.size.transitions,
        },
        "setting": setting_json(path.setting),
        "steps": [path_step_json(step, level) for step in path.steps],
        "alternatives": [path_json(other, level) for other in path.alternatives],
    }
