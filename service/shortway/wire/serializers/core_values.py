"""Core values as the dicts of the wire: the shapes of the contract, written once.

Knows the core and no format: whoever calls serialises. Pure functions, one for each shape; the
HTTP service and the command line both answer with them. Keys stand in the contract's order.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from shortway.core import charts
from shortway.core.cache import Cache
from shortway.core.cancellation import checkpoint
from shortway.core.charts import Chart, Step
from shortway.core.charts.json_entries import constraint_json
from shortway.core.errors import SymbolError
from shortway.core.harmony.context import Context
from shortway.core.rhythm.patterns import Pattern
from shortway.core.settings.families import SITUATIONS, Family
from shortway.core.settings.presets import Preset
from shortway.core.settings.setting import resolve, setting_json
from shortway.core.solver.solve import Listing, Move, Path, PathStep
from shortway.core.theory.chord import Chord, Tone
from shortway.core.theory.qualities import CHORD_TYPES
from shortway.core.voicings.model import Note, Voicing
from shortway.wire.problems import problem_json

Json = dict[str, Any]


def number(value: Fraction) -> int | float:
    """A number of beats: whole where it is whole, else the nearest float.

    >>> number(Fraction(4)), number(Fraction(3, 2))
    (4, 1.5)
    """
    return value.numerator if value.denominator == 1 else float(value)


def tone_json(tone: Tone) -> Json:
    """A degree of a chord."""
    return {"degree": tone.degree, "note": tone.note, "pitch_class": tone.pitch_class}


def chord_json(chord: Chord) -> Json:
    """A chord."""
    return {
        "symbol": chord.symbol,
        "name": chord.name,
        "root": chord.root,
        "bass": chord.bass,
        "kind": chord.kind,
        "kind_degrees": [
            {"value": d.value, "alter": d.alter, "type": d.type} for d in chord.kind_degrees
        ],
        "harte": chord.harte,
        "tones": [tone_json(tone) for tone in chord.tones],
        "guide_tones": list(chord.guide_tones),
        "tensions": [tone_json(tone) for tone in chord.tensions],
        "avoid": list(chord.avoid),
    }


def chords_json(found: Iterable[tuple[str, Chord | SymbolError]]) -> Json:
    """Each symbol's chord, or its problem where it cannot be read."""
    return {
        "chords": [
            {"symbol": symbol, "problem": problem_json(chord)}
            if isinstance(chord, SymbolError)
            else chord_json(chord)
            for symbol, chord in found
        ]
    }


def note_json(note: Note) -> Json:
    """A note that a hand strikes."""
    return {"midi": note.midi, "note": note.note, "degree": note.degree, "bass": note.bass}


def voicing_json(voicing: Voicing) -> Json:
    """A voicing; spans in millimetres to a tenth, null for an idle hand."""
    left, right = voicing.span_mm
    return {
        "family": voicing.family,
        "form": voicing.form,
        "left": [note_json(note) for note in voicing.left],
        "right": [note_json(note) for note in voicing.right],
        "midi": list(voicing.midi),
        "span_mm": {"left": _tenth(left), "right": _tenth(right)},
    }


def _tenth(length: float | None) -> float | None:
    return None if length is None else round(float(length), 1)


def listing_json(listing: Listing) -> Json:
    """A page of voicings; each has its ``motion`` where they were ranked after a sounding one."""
    return {
        "chord": chord_json(listing.chord),
        "setting": setting_json(listing.setting),
        "total": listing.total,
        "voicings": [
            voicing_json(ranked.voicing)
            | ({} if ranked.motion is None else {"motion": ranked.motion})
            for ranked in listing.voicings
        ],
    }


def chart_json(chart: Chart) -> Json:
    """A chart in the JSON form that the service also reads."""
    return charts.chart_json(chart)


def step_json(step: Step) -> Json:
    """One chord occurrence of an unrolled chart; measure and beat from 1.

    Melody, ceiling, top and colours are there where the chart has them.
    """
    return {
        "measure": step.measure,
        "beat": number(step.beat),
        "beats": number(step.beats),
        "symbol": step.symbol,
        **constraint_json(step.melody, step.ceiling, step.top, step.colours),
    }


def reading_json(chart: Chart, steps: Iterable[Step]) -> Json:
    """A chart as read, and its steps in playing order."""
    return {"chart": chart_json(chart), "steps": [step_json(step) for step in steps]}


def move_json(move: Move) -> Json:
    """How one voice came into a step; ``from`` and ``to`` are MIDI numbers."""
    return {
        "voice": move.voice,
        "from": move.from_midi,
        "to": move.to_midi,
        "semitones": move.semitones,
        "from_degree": move.from_degree,
        "to_degree": move.to_degree,
    }


# The core tells many paths with the same voicings; what they look like on the wire is kept beside
# the very object, so that its identity stays its own.
_HELD: Cache[int, tuple[Voicing, Json]] = Cache("wire", 24 << 20, lambda _: 4096)


def _held(voicing: Voicing) -> Json:
    """The shape of `voicing`, shared between answers: to be read, not to be changed."""
    of, shape = _HELD.get(id(voicing), lambda: (voicing, voicing_json(voicing)))
    return shape if of is voicing else voicing_json(voicing)


def path_step_json(step: PathStep) -> Json:
    """A step of a path, with its voicing and the way into it."""
    return step_json(step.step) | {
        "voicing": None if step.voicing is None else _held(step.voicing),
        "motion": step.motion,
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


def path_json(path: Path) -> Json:
    """A path; ``optimal`` is always true, for nothing else is ever answered."""
    checkpoint()
    return {
        "motion": {
            "total": path.total,
            "loop": path.loop,
            "start": path.start,
            "bass": path.bass,
            "largest_leap": path.largest_leap,
            "top_line": path.top_line,
        },
        "optimal": True,
        "size": {
            "steps": path.size.steps,
            "candidates": path.size.candidates,
            "transitions": path.size.transitions,
        },
        "setting": setting_json(path.setting),
        "steps": [path_step_json(step) for step in path.steps],
        "alternatives": [path_json(other) for other in path.alternatives],
    }


def family_json(family: Family) -> Json:
    """A row of the table of families.

    ``seats`` go from low to high, the first ``left`` of them to the left hand of two; ``serves``
    names chord types, and `neighbours` who plays what a family cannot, by number of voices.
    """
    return {
        "id": family.id,
        "about": family.about,
        "hands": list(family.hands),
        "voices": list(family.sizes(True)),
        "voices_alone": list(family.sizes(False)),
        "built": family.built,
        "recipes": [
            {
                "seats": list(row.seats),
                "left": row.left,
                "serves": list(row.chord_types or CHORD_TYPES),
            }
            for row in family.recipes
        ],
        "drops": list(family.drops),
        "serves": [sort for sort in CHORD_TYPES if sort not in family.unserved],
        "neighbours": [{"voices": count, "family": name} for count, name in family.neighbour],
        "default_for": [
            {"hands": hands, "bass_player": bass_player}
            for (hands, bass_player), situation in SITUATIONS.items()
            if family.id in situation.families
        ],
    }


def families_json(families: Iterable[Family]) -> Json:
    """The table of families, in its order."""
    return {"families": [family_json(family) for family in families]}


def rhythms_json(patterns: Iterable[Pattern]) -> Json:
    """The comping patterns; beats are numbers."""
    return {
        "rhythms": [
            {
                "id": pattern.id,
                "about": pattern.about,
                "meters": [f"{beats}/{unit}" for beats, unit in pattern.meters],
                "measures": pattern.measures,
                "hits": [
                    {"beat": number(s.beat), "beats": number(s.beats), "anticipate": s.anticipate}
                    for s in pattern.strokes
                ],
            }
            for pattern in patterns
        ]
    }


def presets_json(presets: Iterable[Preset]) -> Json:
    """The presets: what each sets, and the setting in full."""
    return {
        "settings": [
            {
                "id": preset.id,
                "about": preset.about,
                "sets": {k: list(v) if isinstance(v, tuple) else v for k, v in preset.sets.items()},
                "setting": setting_json(resolve({"preset": preset.id})),
            }
            for preset in presets
        ]
    }
