"""Voicings as JSON values."""

from collections.abc import Iterable

from shortway.core.settings.setting import setting_json
from shortway.core.solver.results import Listing, PriceItem
from shortway.core.voicings.model import Note, Voicing
from shortway.wire.serializers import Json
from shortway.wire.serializers.chords import chord_json


def note_json(note: Note) -> Json:
    """A note that a hand strikes."""
    return {"midi": note.midi, "note": note.note, "degree": note.degree, "is_bass": note.is_bass}


def voicing_json(voicing: Voicing) -> Json:
    """A voicing; spans in millimetres to a tenth, null for an idle hand."""
    left, right = voicing.span_mm
    return {
        "family": voicing.family,
        "form": voicing.form,
        "left": [note_json(note) for note in voicing.left],
        "right": [note_json(note) for note in voicing.right],
        "midi_notes": list(voicing.midi_notes),
        "span_mm": {"left": _tenth(left), "right": _tenth(right)},
    }


def _tenth(length: float | None) -> float | None:
    return None if length is None else round(float(length), 1)


def listing_json(listing: Listing) -> Json:
    """A page of voicings; each has motion and cost where they were ranked after a sounding one."""
    return {
        "chord": chord_json(listing.chord),
        "setting": setting_json(listing.setting),
        "total": listing.total,
        "voicings": [
            voicing_json(ranked.voicing)
            | {"price": ranked.price, "price_items": price_items_json(ranked.price_items)}
            | ({} if ranked.motion is None else {"motion": ranked.motion, "cost": ranked.cost})
            for ranked in listing.voicings
        ],
    }


def price_items_json(items: Iterable[PriceItem]) -> list[Json]:
    """The prices that are due."""
    return [{"name": name, "count": count, "total": total} for name, count, total in items]
