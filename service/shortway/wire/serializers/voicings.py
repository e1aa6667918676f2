"""Voicings as JSON values."""

from collections.abc import Iterable
from functools import lru_cache
from typing import Final

import orjson

from shortway.core.cache import compact
from shortway.core.settings.setting import Setting, setting_json
from shortway.core.solver.results import Listing, PriceItem, Ranked
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


def voicing_members(voicing: Voicing) -> bytes:
    """A comma, and a voicing as members of a step; it stays with the voicing."""
    found = {"midi_notes": voicing.midi_notes, "voicing": voicing_json(voicing)}
    object.__setattr__(voicing, "fragment", b",%b" % orjson.dumps(found)[1:-1])
    return voicing.fragment


def voicing_bytes(voicing: Voicing) -> bytes:
    """The JSON of a voicing by itself."""
    found = voicing.fragment or voicing_members(voicing)
    return found[found.index(_OWN) + len(_OWN) :]


_OWN: Final = b'"voicing":'


def listing_json(listing: Listing) -> Json:
    """The JSON of `listing_bytes` as values."""
    found: Json = orjson.loads(listing_bytes(listing))
    return found


def listing_bytes(listing: Listing) -> bytes:
    """A page of voicings; each has motion and cost where they were ranked after a sounding one."""
    parts = (
        orjson.dumps(chord_json(listing.chord)),
        setting_bytes(listing.setting),
        listing.total,
        b",".join(map(_ranked, listing.voicings)),
    )
    return b'{"chord":%b,"setting":%b,"total":%d,"voicings":[%b]}' % parts


def _ranked(of: Ranked) -> bytes:
    ranks = b""
    if of.motion is not None and of.cost is not None:
        ranks = b',"motion":%d,"cost":%d' % (of.motion, of.cost)
    parts = voicing_bytes(of.voicing)[:-1], of.price, price_items_bytes(of.price_items), ranks
    return b'%b,"price":%d,"price_items":%b%b}' % parts


@lru_cache(maxsize=4096)
def price_items_bytes(items: tuple[PriceItem, ...]) -> bytes:
    """The JSON of the prices that are due."""
    return compact(orjson.dumps(price_items_json(items)))


@lru_cache(maxsize=128)
def setting_bytes(setting: Setting) -> bytes:
    """The JSON of a resolved setting."""
    return compact(orjson.dumps(setting_json(setting)))


def price_items_json(items: Iterable[PriceItem]) -> list[Json]:
    """The prices that are due."""
    return [{"name": name, "count": count, "total": total} for name, count, total in items]
