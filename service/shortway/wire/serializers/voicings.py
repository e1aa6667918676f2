"""Voicings as JSON values."""

from __future__ import annotations

from shortway.core.settings.setting import setting_json
from shortway.core.solver.solve import Listing
from shortway.core.voicings.model import Note, Voicing
from shortway.wire.serializers import Json
from shortway.wire.serializers.chords import chord_json


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
