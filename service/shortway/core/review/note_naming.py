"""Note naming: the notes that somebody played over a chord, named as the chord spells them.

Knows chords, available tones and voicings; judges nothing. Whatever sounds has a degree: the
chord's own, a tension's, or, for a note that is foreign to the chord, the one that it would be.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import DEGREES, pitch_name, spell, with_octave
from shortway.core.voicings.available_tones import AvailableTones
from shortway.core.voicings.enumeration import degrees_by_class
from shortway.core.voicings.model import OUTSIDE, Note, bass_note
from shortway.core.voicings.templates.rules import as_sixth

Part = Literal["tone", "tension", "bass", "foreign", "free"]


@dataclass(frozen=True, slots=True)
class NamedNote(Note):
    """A note that was played: named, with the part that it has in the chord.

    Attributes
    ----------
    part : str
        ``tone``: the symbol implies it; ``tension``: theory or the setting adds it; ``bass``: the
        bass note, the written one or the root; ``foreign``: neither, and `degree` is what it would
        be; ``free``: no chord is there to judge it, and `degree` is empty.
    """

    part: Part = "tone"


def name_notes(
    chord: Chord, available: AvailableTones | None, midi: Sequence[int], *, has_bass: bool
) -> tuple[NamedNote, ...]:
    """The notes `midi` as `chord` names them, ascending.

    Parameters
    ----------
    available : AvailableTones or None
        What may sound at this step; None in N.C.
    midi : sequence of int
        Ascending MIDI numbers.
    has_bass : bool
        Whether the player supplies the bass: the lowest of two notes or more.
    """
    if chord.root is None or available is None:
        return tuple(NamedNote(n, pitch_name(n), "", part="free") for n in midi)
    lowest = int(has_bass and len(midi) > 1)
    names = _names(chord, available)
    under = [_named(chord, names, n, bass=True) for n in midi[:lowest]]
    above = [_named(chord, names, n, bass=False) for n in midi[lowest:]]
    degrees = as_sixth(available, tuple(note.degree for note in above))
    pairs = zip(above, degrees, strict=True)
    return (*under, *(_renamed(chord, note, degree) for note, degree in pairs))


def _names(chord: Chord, available: AvailableTones) -> Mapping[int, tuple[str, Part]]:
    """Degree and part of each pitch class above the root: tones first, then tensions."""
    names: dict[int, tuple[str, Part]] = {}
    for degree in chord.degrees:
        names.setdefault(DEGREES[degree], (degree, "tone"))
    tensions = [*degrees_by_class(available).values(), *(tone.degree for tone in chord.tensions)]
    for degree in tensions:
        names.setdefault(DEGREES[degree], (degree, "tension"))
    for semitones, degree in enumerate(OUTSIDE):
        names.setdefault(semitones, (_outside(degree, chord), "foreign"))
    return names


def _outside(degree: str, chord: Chord) -> str:
    """A minor third above a major one is a raised ninth; a 13 without a seventh is a 6."""
    if degree == "b3" and "3" in chord.degrees:
        return "#9"
    return "6" if degree == "13" and not {"b7", "7"} & set(chord.degrees) else degree


def _named(
    chord: Chord, names: Mapping[int, tuple[str, Part]], midi: int, *, bass: bool
) -> NamedNote:
    """A written bass sounds above itself as well: by the chord's spelling, if the chord has one."""
    root = chord.root_pc or 0
    own = root if chord.bass_pc is None else chord.bass_pc
    degree, part = names[(midi - root) % 12]
    if midi % 12 == own and (bass or chord.bass is not None):
        if bass or part == "foreign":
            note = bass_note(chord, midi)
            return NamedNote(midi, note.note, note.degree, bass, "bass")
        part = "bass" if part == "tension" else part
    return NamedNote(midi, with_octave(spell(chord.root or "C", degree), midi), degree, bass, part)


def _renamed(chord: Chord, note: NamedNote, degree: str) -> NamedNote:
    if degree == note.degree:
        return note
    name = with_octave(spell(chord.root or "C", degree), note.midi)
    return NamedNote(note.midi, name, degree, note.is_bass, note.part)
