"""Chords as JSON values."""

from collections.abc import Iterable

from shortway.core.errors import SymbolError
from shortway.core.theory.chord import Chord, Tone
from shortway.wire.problems import problem_json
from shortway.wire.serializers import Json


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
            {
                "symbol": symbol,
                "chord": None if isinstance(chord, SymbolError) else chord_json(chord),
                "problem": problem_json(chord) if isinstance(chord, SymbolError) else None,
            }
            for symbol, chord in found
        ]
    }
