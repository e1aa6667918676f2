"""Arrivals: how a voicing is reached from the one before, part by part.

Knows candidates, voicings and remarks; no path. What other requests share is held: most pairs of
voicings come again, and so do the parts of a new pair.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import count
from operator import sub
from sys import intern
from typing import Final, NamedTuple

from shortway.core.cache import Memo
from shortway.core.settings.prices import MOVE_PRICES, VOICING_PRICES
from shortway.core.settings.setting import Setting
from shortway.core.solver.layers import Layer
from shortway.core.solver.results import Arrival, PriceItem, PriceItems
from shortway.core.theory.chord import Chord
from shortway.core.voice_leading.move_costs import NO_CHANGE, ChordChange
from shortway.core.voice_leading.moves import NO_VOICES, Voices, bass_motion, voices_between
from shortway.core.voice_leading.remarks import HELD, MOVEMENTS, opening, remark
from shortway.core.voicings.candidate_arrays import Candidates
from shortway.core.voicings.model import Note, Voicing
from shortway.core.voicings.pricing import voicing_counts

Key = tuple[object, ...]


@lru_cache(maxsize=4096)
def price_items(
    names: tuple[str, ...], counts: tuple[int, ...], prices: tuple[int, ...]
) -> PriceItems:
    """The prices that apply, those of 0 left out."""
    return tuple(
        PriceItem(name, count, count * price)
        for name, count, price in zip(names, counts, prices, strict=True)
        if count and price
    )


class Played(NamedTuple):
    """A voicing of a chord, from which moves begin and with which they end.

    Attributes
    ----------
    number : int
        Stands in the keys of caches for it and for all that its prices and moves depend on; 0 where
        other requests do not share it.
    chord : Chord or None
    root : int or None
        Its pitch class. Both are None where it sounded before the path.
    price : int
        Semitones of all its prices.
    midi, degrees : tuple
        MIDI numbers and degrees of its upper notes.
    """

    number: int
    chord: Chord | None
    root: int | None
    voicing: Voicing
    price: int
    price_items: PriceItems
    midi: tuple[int, ...]
    degrees: tuple[str, ...]


_numbers: Final = count(1)


@lru_cache(maxsize=8192)
def _number(_name: str, _like: Key, _due: PriceItems, _setting: Setting) -> int:
    """One number for voicings that are alike in all that prices, moves and remarks depend on."""
    return next(_numbers)


#: Their voicings, with their JSON, are booked where `Candidates.voicing` holds them.
PLAYED: Final[Memo[tuple[int, int], Played]] = Memo("played voicings", 8 << 20, lambda _: 200)
ARRIVALS: Final[Memo[Key, Arrival]] = Memo("arrivals", 90 << 20, lambda _: 700)


def played(of: Candidates, at: int, layer: Layer, setting: Setting) -> Played:
    """The candidate `at` of a layer."""
    due: PriceItems = ()
    if any(setting.voicing_prices):
        counts = voicing_counts(of, layer.wants, setting.home)[:, at].tolist()
        due = price_items(VOICING_PRICES, tuple(counts), setting.voicing_prices)
    found = _played(layer.chord, of.voicing(at, layer.chord), due)
    if not of.shared:
        return found
    said, hands = found.voicing, len(found.voicing.left)
    like = said.family, said.form, hands, said.midi_notes, found.degrees, of.available.third
    return found._replace(number=_number(layer.chord.name, like, due, setting))


def sounded(before: Candidates) -> Played:
    """The notes that sounded before a path; they have no degrees."""
    midi = before.midi(0)
    notes = tuple([Note(key, "", "", k < before.has_bass) for k, key in enumerate(midi)])
    return _played(None, Voicing("", None, (), notes, (None, None)))


def _played(chord: Chord | None, voicing: Voicing, due: PriceItems = ()) -> Played:
    midi = tuple([note.midi for note in voicing.upper])
    degrees = tuple([note.degree for note in voicing.upper])
    root = None if chord is None else chord.root_pc
    return Played(0, chord, root, voicing, _sum(due), due, midi, degrees)


def opened(new: Played) -> Arrival:
    """A path's first voicing, before which nothing sounded."""
    words = opening(new.voicing)
    return Arrival(new.voicing, 0, new.price, new.price_items, NO_VOICES, words, 0, 0)


def held(new: Played) -> Arrival:
    """A voicing that goes on sounding; its prices count where it begins."""
    voices = Voices(new.midi, new.midi, len(new.midi) * (0,), new.degrees, new.degrees)
    return Arrival(new.voicing, 0, 0, (), voices, HELD, 0, 0)


def moved(old: Played, new: Played, change: ChordChange, setting: Setting) -> Arrival:
    """A voicing to which the voices move from another."""
    a, b, splits, bass = old.midi, new.midi, 0, 0
    if len(a) == len(b):
        movement = MOVEMENTS[tuple(map(sub, b, a))]
        fields = a, b, movement.semitones, old.degrees, new.degrees
        voices = tuple.__new__(Voices, fields)
    else:
        voices = voices_between(old.voicing.upper, new.voicing.upper, setting.split_cost)
        splits = voices.splits(len(a), len(b))
        movement = MOVEMENTS[voices.semitones]
    forms = old.voicing.form, new.voicing.form
    words = intern(remark((old.chord, new.chord), forms, movement))  # one of eight is new
    due, motion = new.price_items, movement.motion + splits * setting.split_cost
    cost = motion + new.price
    if change is not NO_CHANGE:
        more = _move_prices(old, new, change, setting)
        due, cost = due + more, cost + _sum(more)
    if not setting.bass_player:
        bass = bass_motion(old.voicing.notes[0], new.voicing.notes[0])
    return Arrival(new.voicing, motion, cost, due, voices, words, bass, movement.leap)


def _sum(items: PriceItems) -> int:
    return sum([item.total for item in items])


def _move_prices(old: Played, new: Played, change: ChordChange, setting: Setting) -> PriceItems:
    held = old.midi[-1] == new.midi[-1]
    if not held and change.fourth is None:
        return ()
    unheard = held and old.voicing.midi_notes == new.voicing.midi_notes
    counts = int(unheard), int(held), _unresolved(old.midi, new.midi, change.fourth)
    return price_items(MOVE_PRICES, counts, setting.move_prices)


def _unresolved(old: Sequence[int], new: Sequence[int], fourth: int | None) -> int:
    """Suspended notes that do not fall; where sizes differ, into any voice a half step lower."""
    suspended = [k for k, midi in enumerate(old) if midi % 12 == fourth]
    if len(old) == len(new):
        return sum([new[k] != old[k] - 1 for k in suspended])
    return sum([old[k] - 1 not in new for k in suspended])
