"""Voicing review: what is to be said of notes over one chord, whatever comes before and after.

Knows candidates and rules. What other requests share is held, for players repeat themselves.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Final

from shortway.core.cache import Memo
from shortway.core.review.findings import VoicingContext
from shortway.core.review.note_naming import name_notes
from shortway.core.review.results import Hands, VoicingReview
from shortway.core.review.rules import check_voicing, split
from shortway.core.settings.keyboard import distance_mm
from shortway.core.settings.setting import Setting
from shortway.core.theory.chord import Chord
from shortway.core.voicings.candidate_arrays import Candidates
from shortway.core.voicings.melody_constraints import MelodyConstraint

_Key = tuple[int, str, Chord, tuple[int, ...]]
_REVIEWS: Final[Memo[_Key, VoicingReview]] = Memo(
    "reviewed voicings", 4 << 20, lambda of: 1_700 + 300 * len(of.findings)
)
_UNCONSTRAINED: Final = MelodyConstraint()


def review_voicing(
    chord: Chord, layer: Candidates, midi: tuple[int, ...], setting: Setting
) -> VoicingReview:
    """What is to be said of the notes `midi`, ascending, over a chord with these candidates."""
    make = partial(_review_voicing, chord, layer, midi, setting)
    if not layer.shared:
        return make()
    key = layer.number, chord.symbol, chord, midi
    return _REVIEWS.get(key) or _REVIEWS.recall(key, make)


def _review_voicing(
    chord: Chord, layer: Candidates, midi: tuple[int, ...], setting: Setting
) -> VoicingReview:
    row = layer.index_of(midi)
    family, form, left = None, None, None
    if row is not None:
        family, form, left = layer.family(row), layer.form(row), int(layer.left[row])
    notes = name_notes(chord, layer.available, midi, has_bass=not setting.bass_player)
    context = VoicingContext(
        chord, layer.available, setting, notes, _UNCONSTRAINED, row is not None
    )
    hands, found = _hands(midi, setting, left), check_voicing(context)
    return VoicingReview(notes, context, found, row, hands, family, form)


def _hands(midi: Sequence[int], setting: Setting, wished: int | None) -> Hands | None:
    left = split(midi, setting, wished)
    if left is None:
        return None
    hands = (hand for hand in (midi[:left], midi[left:]))
    spans = [round(distance_mm(hand[0], hand[-1]), 1) if hand else None for hand in hands]
    return Hands(left, (spans[0], spans[1]))
