"""The hard rules once more, in plain Python: what is wrong with a voicing, in words.

Judges the values that the core hands out with `support.plain` and the chord's own degrees; asks
the core for nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator

from shortway.core.settings.setting import Setting
from shortway.core.theory.chord import Chord
from shortway.core.voicings.model import Voicing
from support.plain import (
    assumed_root_muddy,
    minor_ninths,
    muddy,
    pitch,
    pitch_class,
    semitones,
    span_mm,
)

#: Colours that disagree, as the contract lists them.
DISAGREE = (
    {"9", "b9"}, {"9", "#9"}, {"13", "b13"}, {"5", "#5"}, {"5", "b13"},
)  # fmt: skip


def broken(chord: Chord, voicing: Voicing, setting: Setting) -> list[str]:
    """Every hard rule that `voicing` breaks; empty where it is fit to play."""
    return [
        *_spelling(chord, voicing),
        *_hands(voicing, setting),
        *_bass(chord, voicing, setting),
        *_register(chord, voicing, setting),
        *_intervals(chord, voicing),
        *_colours(chord, voicing),
        *_guide_tones(chord, voicing),
        *_room(chord, voicing),
    ]


def _upper(voicing: Voicing) -> list[str]:
    return [note.degree for note in voicing.left + voicing.right if not note.bass]


def _spelling(chord: Chord, voicing: Voicing) -> Iterator[str]:
    for note in voicing.left + voicing.right:
        if pitch(note.note) != note.midi:
            yield f"{note.note} is not {note.midi}"
        if (pitch_class(str(chord.root)) + semitones(note.degree) - note.midi) % 12:
            yield f"{note.note} is no {note.degree}"
        if not note.bass and note.degree not in _allowed(chord):
            yield f"{note.degree} is neither tone nor tension"


def _allowed(chord: Chord) -> set[str]:
    """Tones and tensions; the 13 of a major seventh is a 6 where it replaces the seventh."""
    degrees = {*chord.degrees, *(tone.degree for tone in chord.tensions)}
    sixth = {"6"} if chord.chord_type == "major-seventh" and "13" in degrees else set()
    return degrees | sixth


def _hands(voicing: Voicing, setting: Setting) -> Iterator[str]:
    midi = [note.midi for note in voicing.left + voicing.right]
    if midi != sorted(set(midi)) or tuple(midi) != voicing.midi:
        yield "hands cross, or a key is struck twice"
    for hand, span in zip((voicing.left, voicing.right), voicing.span_mm, strict=True):
        keys = tuple(note.midi for note in hand)
        if len(keys) > 5:
            yield "more notes than fingers"
        if span_mm(keys) > setting.reach_mm + 0.02:
            yield "out of reach"
        if (span is None) != (not keys) or abs(span_mm(keys) - (span or 0)) > 0.07:
            yield "another span"
    if (setting.hands == "left" and voicing.right) or (setting.hands == "right" and voicing.left):
        yield "the wrong hand plays"


def _bass(chord: Chord, voicing: Voicing, setting: Setting) -> Iterator[str]:
    notes = voicing.left + voicing.right
    marked = [note.midi for note in notes if note.bass]
    if setting.bass_player:
        if marked:
            yield "a bass beside the bass player"
    elif marked != [notes[0].midi]:
        yield "the bass is not the lowest note, or not marked"
    elif notes[0].midi % 12 != pitch_class(str(chord.bass or chord.root)):
        yield "the bass is neither root nor slash bass"


def _register(chord: Chord, voicing: Voicing, setting: Setting) -> Iterator[str]:
    if voicing.midi[0] < setting.lowest or voicing.midi[-1] > setting.highest:
        yield "outside the range"
    if setting.low_interval_limits != "off" and muddy(voicing.midi):
        yield "below a low interval limit"
    assumed = setting.low_interval_limits == "assumed-root" and setting.bass_player
    root = pitch_class(str(chord.root))
    if assumed and chord.bass is None and assumed_root_muddy(voicing.midi[0], root):
        yield "too low over the assumed root"


def _intervals(chord: Chord, voicing: Voicing) -> Iterator[str]:
    by_key = {note.midi: note for note in voicing.left + voicing.right}
    for low, high in minor_ninths(voicing.midi):
        below, above = by_key[low], by_key[high]
        slash = below.bass and chord.bass is not None
        root = below.degree == "1" and above.degree == "b9" and "b9" in chord.degrees
        if not (slash or root):
            yield f"a minor ninth from {below.degree} to {above.degree}"
    degrees = _upper(voicing)
    free = ("close", "drop-2", "drop-3", "drop-2-4", "fourths", "any-playable")
    stacked = voicing.family not in free
    if stacked and "7" in degrees and "1" in degrees[degrees.index("7") :]:
        yield "the root above a major seventh"


def _colours(chord: Chord, voicing: Voicing) -> Iterator[str]:
    sounding = set(_upper(voicing))
    for pair in DISAGREE:
        if pair <= sounding and not pair <= set(chord.written):
            yield f"{' with '.join(sorted(pair))}"
    if {"6", "13"} <= sounding:
        yield "one note called 6 and 13"


def _guides(chord: Chord) -> list[str]:
    """The guide tones, the 11 in the place of a third that it suspends."""
    suspended = "3" in chord.degrees and "11" in chord.written
    return ["11" if degree == "3" and suspended else degree for degree in chord.guide_tones]


def _guide_tones(chord: Chord, voicing: Voicing) -> Iterator[str]:
    degrees = _upper(voicing)
    sixth = "6" in degrees and chord.chord_type == "major-seventh"
    missing = [d for d in _guides(chord) if d not in degrees and not (d == "7" and sixth)]
    open_fourths = voicing.family == "fourths" and chord.chord_type in (
        "minor-seventh", "suspended", "dominant-suspended",
    )  # fmt: skip
    enough = len(degrees) < 2 or open_fourths
    if missing and not (enough and len(missing) < len(_guides(chord))):
        yield f"no {' and no '.join(missing)}"
    flat_fifth = chord.chord_type in ("half-diminished", "diminished-seventh") and len(degrees) > 2
    if flat_fifth and "b5" not in degrees:
        yield "no b5"


def _room(chord: Chord, voicing: Voicing) -> Iterator[str]:
    """Written degrees sound where there is room; a shell and a doubled guide tone leave none."""
    if voicing.family in ("shell", "guide-tone-full") or chord.quality == "7alt":
        return  # An alt leaves the choice of alterations to the player.
    degrees = _upper(voicing)
    wanted = [d for d in chord.written if d not in _guides(chord)]
    taken = len(_guides(chord)) + (chord.chord_type in ("half-diminished", "diminished-seventh"))
    missing = [degree for degree in wanted if degree not in degrees]
    if len(missing) > max(0, len(wanted) - (len(degrees) - taken)):
        yield f"room for {' and '.join(missing)}"
