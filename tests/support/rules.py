"""The hard rules once more, in plain Python: what is wrong with a voicing, in words.

Judges the values that the core hands out with `support.plain` and the chord's own degrees; asks
the core for nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, product

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

#: Colours that disagree: common practice, no source.
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
        *_guide_tones(chord, voicing, setting),
        *_triads(chord, voicing),
        *_diminished_sevenths(chord, voicing),
        *_slash_bass(chord, voicing),
        *_room(chord, voicing, setting),
    ]


def _upper(voicing: Voicing) -> list[str]:
    return [note.degree for note in voicing.left + voicing.right if not note.is_bass]


def _spelling(chord: Chord, voicing: Voicing) -> Iterator[str]:
    for note in voicing.left + voicing.right:
        if pitch(note.note) != note.midi:
            yield f"{note.note} is not {note.midi}"
        if (pitch_class(str(chord.root)) + semitones(note.degree) - note.midi) % 12:
            yield f"{note.note} is no {note.degree}"
        if not note.is_bass and note.degree not in _allowed(chord):
            yield f"{note.degree} is neither tone nor tension"


def _allowed(chord: Chord) -> set[str]:
    """Tones and tensions; the 13 of a major seventh is a 6 where it replaces the seventh."""
    degrees = {*chord.degrees, *(tone.degree for tone in chord.tensions)}
    sixth = {"6"} if chord.chord_type == "major-seventh" and "13" in degrees else set()
    return degrees | sixth


def _hands(voicing: Voicing, setting: Setting) -> Iterator[str]:
    midi = [note.midi for note in voicing.left + voicing.right]
    if midi != sorted(set(midi)) or tuple(midi) != voicing.midi_notes:
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
    marked = [note.midi for note in notes if note.is_bass]
    if setting.bass_player:
        if marked:
            yield "a bass beside the bass player"
    elif marked != [notes[0].midi]:
        yield "the bass is not the lowest note, or not marked"
    elif notes[0].midi % 12 != pitch_class(str(chord.bass or chord.root)):
        yield "the bass is neither root nor slash bass"


def _register(chord: Chord, voicing: Voicing, setting: Setting) -> Iterator[str]:
    if voicing.midi_notes[0] < setting.lowest or voicing.midi_notes[-1] > setting.highest:
        yield "outside the range"
    if setting.low_interval_limits != "off" and muddy(voicing.midi_notes):
        yield "below a low interval limit"
    assumed = setting.low_interval_limits == "assumed-root" and setting.bass_player
    root = pitch_class(str(chord.root))
    if assumed and chord.bass is None and assumed_root_muddy(voicing.midi_notes[0], root):
        yield "too low over the assumed root"


def _intervals(chord: Chord, voicing: Voicing) -> Iterator[str]:
    by_key = {note.midi: note for note in voicing.left + voicing.right}
    for low, high in minor_ninths(voicing.midi_notes):
        below, above = by_key[low], by_key[high]
        written = above.degree in chord.degrees or len(_tones(chord)) < 3
        slash = below.is_bass and chord.bass is not None and written
        root = below.degree == "1" and above.degree == "b9"
        if not (slash or root):
            yield f"a minor ninth from {below.degree} to {above.degree}"
    upper = [note.midi for note in voicing.left + voicing.right if not note.is_bass]
    if len(upper) > 1 and upper[-1] - upper[-2] == 1:
        yield "a half step between the two top notes"
    degrees = _upper(voicing)
    free = ("close", "drop-2", "drop-3", "drop-2-4", "fourths", "any-playable")
    if voicing.family not in free and "7" in degrees and "1" in degrees[degrees.index("7") :]:
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


#: Left-hand voicings without a third or a seventh that Levine prints, The Jazz Theory Book (1995).
PRINTED = (
    {"1", "11", "b5", "b7"},  # figure 3-114
    {"b7", "9", "#11", "13"},  # figure 13-56
    {"1", "b9", "4", "5"},  # figure 9-47
)


def _guide_tones(chord: Chord, voicing: Voicing, setting: Setting) -> Iterator[str]:
    degrees = _upper(voicing)
    sounding = {*degrees}
    if not setting.bass_player:
        sounding |= {note.degree for note in voicing.left + voicing.right if note.is_bass}
    sixth = "6" in degrees and chord.chord_type == "major-seventh"
    missing = [d for d in _guides(chord) if d not in sounding and not (d == "7" and sixth)]
    open_fourths = voicing.family == "fourths" and chord.chord_type in (
        "minor-seventh", "suspended", "dominant-suspended",
    )  # fmt: skip
    enough = len(degrees) < 2 or open_fourths
    printed = voicing.family == "rootless" and {*degrees} in PRINTED
    if missing and not printed and not (enough and len(missing) < len(_guides(chord))):
        yield f"no {' and no '.join(missing)}"
    flat_fifth = chord.chord_type in ("half-diminished", "diminished-seventh", "diminished")
    if flat_fifth and len(degrees) > 2 and "b5" not in degrees:
        yield "no b5"


def _tones(chord: Chord) -> list[str]:
    """The tones of a triad, whatever is written above it."""
    return [d for d in chord.degrees if d in ("1", "3", "b3", "4", "5", "b5", "#5")]


def _is_triad(chord: Chord) -> bool:
    return not {"6", "b7", "7", "bb7"} & {*chord.degrees}


def _triads(chord: Chord, voicing: Voicing) -> Iterator[str]:
    """A triad stays one: no seventh, its third once."""
    if not _is_triad(chord) or not chord.root:
        return
    degrees = _upper(voicing)
    if {"b7", "7", "bb7"} & {*degrees}:
        yield "a triad with a seventh"
    third = next(iter(_guides(chord)), None)
    symmetric = chord.chord_type == "augmented"
    if len(_tones(chord)) > 2 and not symmetric and degrees.count(str(third)) > 1:
        yield "a triad with its third twice"


def _diminished_sevenths(chord: Chord, voicing: Voicing) -> Iterator[str]:
    if chord.chord_type != "diminished-seventh":
        return
    degrees = _upper(voicing)
    seventh = "bb7" if "bb7" in chord.degrees else "7"
    tones = {"1", "b3", "b5", seventh} & {*chord.degrees}
    if len(degrees) >= len(tones) and not tones <= {*degrees}:
        yield f"no {' and no '.join(sorted(tones - {*degrees}))}"
    if {*degrees[:-1]} - {*chord.degrees}:
        yield "a tension below the top of a diminished seventh"


def _slash_bass(chord: Chord, voicing: Voicing) -> Iterator[str]:
    """What is added over a written bass, but to chords of too few tones for their voices."""
    if chord.bass is None or len(_tones(chord)) < 3:
        return
    bass, root = pitch_class(chord.bass), pitch_class(str(chord.root))
    added = {*_upper(voicing)} - {*chord.degrees} - ({"6"} if not _is_triad(chord) else set())
    own = [(root + semitones(degree)) % 12 for degree in chord.degrees]
    for degree in sorted(added):
        if (root + semitones(degree) - bass) % 12 in (1, 11):
            yield f"an added {degree} a half step from the bass"
    if _is_triad(chord) and bass != root:
        if bass in [(root + semitones(d)) % 12 for d in _tones(chord)] and added:
            yield "a triad over its own tone with another"
        if (bass - root) % 12 == 10 and added & {"6", "7"}:
            yield "a 6 or 7 over a b7"
    if bass not in own and "#11" in added:
        yield "a #11 over a foreign bass"


def _room(chord: Chord, voicing: Voicing, setting: Setting) -> Iterator[str]:
    """Written degrees sound where there is room; a shell and a doubled guide tone leave none."""
    if voicing.family in ("shell", "guide-tone-full") or chord.quality == "7alt":
        return  # An alt leaves the choice of alterations to the player.
    degrees = _upper(voicing)
    wanted = [d for d in chord.written if d not in _guides(chord)]
    taken = len(_guides(chord)) + (chord.chord_type == "half-diminished")
    taken += 2 * (chord.chord_type == "diminished-seventh")
    missing = [degree for degree in wanted if degree not in degrees]
    if len(missing) <= max(0, len(wanted) - (len(degrees) - taken)):
        return
    if not _is_triad(chord) or _has_place(chord, set(wanted), len(degrees), setting):
        yield f"room for {' and '.join(missing)}"


def _has_place(chord: Chord, wanted: set[str], voices: int, setting: Setting) -> bool:
    """Whether any keys are a triad with what it writes, its third once, by brute force."""
    agreeing = [d for d in _tones(chord) if not any({d, w} in DISAGREE for w in wanted)]
    classes = {(pitch_class(str(chord.root)) + semitones(d)) % 12: d for d in {*agreeing, *wanted}}
    keys = [n for n in range(setting.lowest, setting.highest + 1) if n % 12 in classes]
    bass = pitch_class(str(chord.bass or chord.root))
    below = [()] if setting.bass_player else [(n,) for n in keys if n % 12 == bass and n < 60]
    third = _guides(chord)[0] if _guides(chord) else None
    for upper, low in product(combinations(keys, voices), below):
        degrees = [classes[note % 12] for note in upper]
        notes = (*low, *upper)
        if (
            wanted <= {*degrees}
            and degrees.count(str(third)) == 1
            and notes == tuple(sorted({*notes}))
            and not (muddy(notes) or minor_ninths(notes))
            and upper[-1] - upper[-2] > 1
            and any(_holds(notes, left, setting) for left in range(len(notes) + 1))
        ):
            return True
    return False


def _holds(notes: tuple[int, ...], left: int, setting: Setting) -> bool:
    hands = notes[:left], notes[left:]
    idle = {"left": hands[1], "right": hands[0], "both": ()}[setting.hands]
    return not idle and all(len(hand) <= 5 and span_mm(hand) <= setting.reach_mm for hand in hands)
