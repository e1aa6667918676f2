"""Voicing: the spelled notes that two hands strike, its form, and the degree of a bass note.

Knows chords and available tones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final, Literal

from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import pitch_class, with_octave
from shortway.core.voicings.available_tones import AvailableTones

Form = Literal["A", "B"]


@dataclass(frozen=True, slots=True)
class Note:
    """A struck key: MIDI number, spelled name, degree of the chord, whether it is the bass."""

    midi: int
    note: str
    degree: str
    is_bass: bool = False


@dataclass(frozen=True)
class Voicing:
    """The notes one player strikes, low to high, split between the hands.

    Attributes
    ----------
    form : "A", "B" or None
        A: the third lies below the seventh. B: the seventh lies below the third.
    span_mm : tuple of float or None, of length 2
        Distance between the outer key centres of the left and the right hand; None: no notes.
    fragment : bytes
        A place for what a serializer makes of it; empty before.
    """

    family: str
    form: Form | None
    left: tuple[Note, ...]
    right: tuple[Note, ...]
    span_mm: tuple[float | None, float | None]
    fragment: bytes = field(default=b"", init=False, compare=False, repr=False)

    @property
    def notes(self) -> tuple[Note, ...]:
        """All notes, ascending."""
        return self.left + self.right

    @cached_property
    def midi_notes(self) -> tuple[int, ...]:
        """MIDI numbers of all notes, ascending."""
        return tuple(note.midi for note in self.notes)

    @cached_property
    def upper(self) -> tuple[Note, ...]:
        """The notes that motion counts: all but the bass."""
        return tuple(note for note in self.notes if not note.is_bass)


def form(of: AvailableTones, degrees: Sequence[str]) -> Form | None:
    """A where the third (or what stands for it) lies below the seventh, B the other way round."""
    leading = [d for d in degrees if d in (of.third, of.seventh, of.sixth)]
    if of.third not in leading or len(set(leading)) < 2:
        return None
    return "A" if leading[0] == of.third else "B"


def bass_note(chord: Chord, midi: int) -> Note:
    """The note of the bass: the written one, else the root."""
    name = chord.bass or chord.root or "C"
    return Note(midi, with_octave(name, midi), _bass_degree(chord, name), is_bass=True)


#: Degrees of pitch classes outside the chord, by semitones above the root.
OUTSIDE: Final = ("1", "b9", "9", "b3", "3", "11", "#11", "5", "b13", "13", "b7", "7")


def _bass_degree(chord: Chord, name: str) -> str:
    """The degree of a bass note, in the chord or outside it."""
    target = pitch_class(name)
    own = next((tone.degree for tone in chord.tones if tone.pitch_class == target), None)
    return own or OUTSIDE[(target - pitch_class(chord.root or "C")) % 12]
