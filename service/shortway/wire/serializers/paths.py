"""Paths as JSON: joined from fragments, for many steps share voicings, moves and contexts."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Final

import orjson

from shortway.core.cache import Memo
from shortway.core.cancellation import checkpoint
from shortway.core.charts import Step
from shortway.core.charts.json_entries import constraint_json
from shortway.core.harmony.context import Context
from shortway.core.settings.setting import Setting, setting_json
from shortway.core.solver.results import Path, PathStep, PriceItem
from shortway.core.voice_leading.remarks import Move
from shortway.core.voicings.model import Voicing
from shortway.wire.serializers import Json
from shortway.wire.serializers.charts import number
from shortway.wire.serializers.fragments import fragments, inside
from shortway.wire.serializers.voicings import price_items_json, voicing_json


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
    """The JSON of `path_bytes` as values."""
    found: Json = orjson.loads(path_bytes(path, level))
    return found


def path_bytes(path: Path, level: str = "full") -> bytes:
    """The JSON of a path; ``optimal`` is always true, for nothing else is ever answered.

    `level` is how much its steps have: ``full`` or ``brief``.
    """
    checkpoint()
    parts = [
        orjson.dumps(_heading(path))[:-1],
        b',"setting":',
        _setting(path.setting),
        b',"steps":[',
    ]
    write = _brief_step if level == "brief" else _step
    for step in path.steps:
        parts += write(step)
    if path.steps:
        parts[-1] = parts[-1][:-1]
    others = b",".join([path_bytes(other, level) for other in path.alternatives])
    parts += b'],"alternatives":[', others, b"]}"
    return b"".join(parts)


def _heading(path: Path) -> Json:
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
            {"voicing": voicing_json(of.voicing), "cost": of.cost, "motion": of.motion}
            for of in path.choices
        ],
        "size": {
            "steps": path.size.steps,
            "candidates": path.size.candidates,
            "transitions": path.size.transitions,
        },
    }


# --- steps ---------------------------------------------------------------------------------------


def _step(step: PathStep) -> Iterable[bytes]:
    """A step with its voicing and the way into it, and a comma."""
    context = b"null" if step.context is None else _context(step.context)
    remark = b'],"remark":%b,"context":' % orjson.dumps(step.remark)
    if step.voicing is None or step.motion is None or step.cost is None:
        return _chord(step.step), _SILENCE, remark, context, b"},"
    due = _price_items(step.price_items) if step.price_items else b"[]"
    into = b',"motion":%d,"cost":%d,"price_items":%b,"moves":[' % (step.motion, step.cost, due)
    moves = [_MOVES.get(move) or _move(move) for move in step.moves]
    return _chord(step.step), _voicing(step.voicing), into, *moves, remark, context, b"},"


_SILENCE: Final = inside({
    "midi_notes": [], "voicing": None, "motion": None, "cost": None, "price_items": [], "moves": [],
})[:-1]  # fmt: skip


def _brief_step(step: PathStep) -> Iterable[bytes]:
    notes = [] if step.voicing is None else step.voicing.midi_notes
    return b"{", _when(step.step), b',"midi_notes":', orjson.dumps(notes), b"},"


def _chord(step: Step) -> bytes:
    """What a step is and when, as in `step_json`, without an end."""
    more = _NO_PLACE if step.place is None else inside(dict(zip(_PLACE, step.place, strict=True)))
    if step.constrained or step.colours is not None:
        own = step.melody, step.ceiling, step.top, step.colours
        more += b"," + inside(constraint_json(*own))
    return b'{"step":%d,%b,"repetition":%d,"meter":"%d/%d",%b,' % (
        step.number, _when(step), step.repetition, *step.meter, more,
    )  # fmt: skip


_PLACE: Final = ("line", "column", "length")
_NO_PLACE: Final = inside(dict.fromkeys(_PLACE))


def _when(step: Step) -> bytes:
    return b'"measure":%d,"beat":%b,"beats":%b,"onset":%b,"symbol":%b' % (
        step.measure,
        _number(step.beat),
        _number(step.beats),
        _number(step.onset),
        orjson.dumps(step.symbol),
    )


def _number(value: Fraction) -> bytes:
    over, under = value.as_integer_ratio()
    return b"%d" % over if under == 1 else orjson.dumps(number(value))


# --- what steps share ----------------------------------------------------------------------------


def _encoded_voicing(voicing: Voicing) -> bytes:
    return inside({"midi_notes": voicing.midi_notes, "voicing": voicing_json(voicing)})


def _encoded_context(context: Context) -> bytes:
    return orjson.dumps(context_json(context))


def _encoded_setting(setting: Setting) -> bytes:
    return orjson.dumps(setting_json(setting))


def _move(move: Move) -> bytes:
    """The JSON of a voice's move, after a comma where another voice is before it."""
    comma = b"," if move.voice > 1 else b""
    return _MOVES.recall(move, lambda: comma + orjson.dumps(move_json(move)))


def _price_items(items: tuple[PriceItem, ...]) -> bytes:
    return orjson.dumps(price_items_json(items))


_MOVES: Memo[Move, bytes] = Memo("JSON of moves", 16 << 20, lambda found: len(found) + 200)
_voicing = fragments("JSON of voicings", 12 << 20, _encoded_voicing)
_context = fragments("JSON of contexts", 4 << 20, _encoded_context)
_setting = fragments("JSON of settings", 1 << 20, _encoded_setting)
