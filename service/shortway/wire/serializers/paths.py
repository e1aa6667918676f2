"""Paths as JSON: joined from fragments, for many steps share voicings, moves and contexts."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import count
from typing import Final

import orjson

from shortway.core.cancellation import checkpoint
from shortway.core.harmony.context import Context
from shortway.core.solver.results import Arrival, Path, PathStep
from shortway.core.voice_leading.remarks import SILENT
from shortway.wire.serializers import Json
from shortway.wire.serializers.charts import brief_step_json, step_members
from shortway.wire.serializers.voicings import (
    price_items_bytes,
    price_items_json,
    setting_bytes,
    voicing_json,
    voicing_members,
)


def moves_bytes(moves: Iterable[tuple[int, int, int, int, str | None, str]]) -> bytes:
    """The JSON of how each voice came into a step, from the fields of a `Move`."""
    found = [
        f'{{"voice":{voice},"from_midi":{from_midi},"to_midi":{to_midi},"semitones":{semitones},'
        f'"from_degree":{before},"to_degree":"{to_degree}"}}'
        for voice, from_midi, to_midi, semitones, from_degree, to_degree in moves
        for before in (f'"{from_degree}"' if from_degree else "null",)
    ]
    return f"[{','.join(found)}]".encode()


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
    return b"".join(path_parts(path, level))


def path_parts(path: Path, level: str) -> list[bytes]:
    """The JSON of `path_bytes` in parts, for what joins it with more."""
    checkpoint()
    parts = [orjson.dumps(_heading(path))[:-1], b',"setting":', setting_bytes(path.setting)]
    parts.append(b',"steps":[')
    parts += map(_brief_step, path.steps) if level == "brief" else _steps(path.steps)
    if path.steps:
        parts[-1] = parts[-1][:-1]
    others = b",".join([path_bytes(other, level) for other in path.alternatives])
    parts += b'],"alternatives":[', others, b"]}"
    return parts


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


def _steps(steps: Iterable[PathStep]) -> list[bytes]:
    """Each step with its voicing and the way into it, and a comma."""
    parts: list[bytes] = []
    for step, arrival, context in steps:
        parts.append(step_members(step))
        if arrival is None:
            parts.append(_SILENCE)
        else:
            voicing = arrival.voicing
            parts.append(voicing.fragment or voicing_members(voicing))
            parts.append(arrival.fragment or _arrival(arrival))
        parts.append(_NO_CONTEXT if context is None else context.fragment or _context(context))
    return parts


def _brief_step(of: PathStep) -> bytes:
    notes = of.arrival.voicing.midi_notes if of.arrival else ()
    return orjson.dumps(brief_step_json(of.step) | {"midi_notes": notes}) + b","


def _arrival(arrival: Arrival) -> bytes:
    """The way into a voicing, with which its JSON stays."""
    arrival.fragment = b',"motion":%d,"cost":%d,"price_items":%b,"moves":%b,"remark":%b,' % (
        arrival.motion,
        arrival.cost,
        price_items_bytes(arrival.price_items),
        moves_bytes(zip(count(1), *arrival.voices, strict=False)),
        orjson.dumps(arrival.remark),
    )
    return arrival.fragment


_SILENCE: Final = b",%b," % orjson.dumps({
    "midi_notes": [], "voicing": None, "motion": None, "cost": None, "price_items": [], "moves": [],
    "remark": SILENT,
})[1:-1]  # fmt: skip


def _context(context: Context) -> bytes:
    """A context as the end of a step, and a comma; its JSON stays with it."""
    context.fragment = b'"context":%b},' % orjson.dumps(context_json(context))
    return context.fragment


_NO_CONTEXT: Final = b'"context":null},'
