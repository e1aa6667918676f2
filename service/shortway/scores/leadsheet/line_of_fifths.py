"""Notes on the line of fifths, keys, and what a transposing part adds.

Knows no XML. A note name is its place on the line of fifths (F -1, C 0, G 1, a sharp 7 more), on
which a transposition is one addition and a key's seven notes are neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from shortway.core.theory.pitch import LETTERS, fifths_from_c, note_at_fifths

#: The tonic's place above that of the major key with the same signature.
_MODES: Final = {
    "major": 0, "ionian": 0, "lydian": -1, "mixolydian": 1,
    "minor": 3, "aeolian": 3, "dorian": 2, "phrygian": 4, "locrian": 5,
}  # fmt: skip
_MINOR: Final = ("minor", "aeolian", "dorian", "phrygian", "locrian")
#: Signs of the widest signature that has a name here.
_MOST_FIFTHS: Final = 8
#: Letters that go with a transposition which does not say how many.
_LETTERS_OF: Final = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)


def note_to_fifths(step: str, alter: int) -> int:
    """A note's place on the line of fifths.

    >>> note_to_fifths("C", 0), note_to_fifths("B", -1), note_to_fifths("F", 1)
    (0, -2, 6)
    """
    return fifths_from_c(step) + 7 * alter


def fifths_to_note(at: int) -> str:
    """The note at a place; more than two signs give way to the plainer note.

    >>> fifths_to_note(0), fifths_to_note(-2), fifths_to_note(6), fifths_to_note(20)
    ('C', 'Bb', 'F#', 'G#')
    """
    while not -15 <= at <= 19:
        at += 12 if at < 0 else -12
    return note_at_fifths(at)


@dataclass(frozen=True, slots=True)
class Transposition:
    """What has to be added to what a part writes so that it is what sounds.

    Attributes
    ----------
    fifths : int
        For names: places on the line of fifths.
    semitones : int
        For pitches, octaves counted.
    """

    fifths: int = 0
    semitones: int = 0


def transposition_of(diatonic: int | None, chromatic: int, octaves: int) -> Transposition:
    """That of MusicXML's ``transpose``: letters, semitones and octaves.

    >>> transposition_of(-1, -2, 0), transposition_of(None, 3, -1)
    (Transposition(fifths=-2, semitones=-2), Transposition(fifths=-3, semitones=-9))
    """
    if diatonic is None:
        whole, rest = divmod(chromatic, 12)
        diatonic = 7 * whole + _LETTERS_OF[rest]
    return Transposition(7 * chromatic - 12 * diatonic, chromatic + 12 * octaves)


@dataclass(frozen=True, slots=True)
class KeySignature:
    """A key signature's sharps (flats below 0) and its mode."""

    fifths: int
    mode: str = "major"

    @property
    def tonic(self) -> int:
        """The tonic's place on the line of fifths."""
        return self.fifths + _MODES.get(self.mode, 0)

    @property
    def name(self) -> str | None:
        """As a chart writes it; a mode is major or minor by its third. None beyond eight signs.

        >>> KeySignature(-3, "minor").name, KeySignature(0, "dorian").name, KeySignature(12).name
        ('Cm', 'Dm', None)
        """
        if abs(self.fifths) > _MOST_FIFTHS:
            return None
        return fifths_to_note(self.tonic) + ("m" if self.mode in _MINOR else "")

    def transposed(self, by: Transposition) -> KeySignature:
        """The key that sounds."""
        return KeySignature(self.fifths + by.fifths, self.mode)

    def degree(self, number: int) -> int:
        """The place of scale degree `number`, 1 to 7, with the signature's signs.

        MusicXML 4.0, numeral-mode: natural minor unless harmonic (7 raised) or melodic (6, 7).

        >>> fifths_to_note(KeySignature(-3, "harmonic minor").degree(7))
        'B'
        """
        kind, _, plain = self.mode.rpartition(" ")
        key = KeySignature(self.fifths, plain)
        letter = LETTERS[(LETTERS.index(fifths_to_note(key.tonic)[0]) + number - 1) % 7]
        at = next(
            n for n in range(self.fifths - 1, self.fifths + 6) if fifths_to_note(n)[0] == letter
        )
        raised = {"harmonic": (7,), "melodic": (6, 7)}.get(kind, ())
        return at + 7 * (number in raised)
