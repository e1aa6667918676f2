"""Key signatures and transpositions on the line of fifths.

Knows no XML. A note name is a number (F -1, C 0, G 1; a sharp adds 7), a transposition is an
addition, and the seven notes of a key are neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from shortway.core.theory.pitch import LETTERS, note_at_fifths

#: Fifths from the major tonic of a signature to the mode's tonic.
_MODES: Final = {
    "major": 0, "ionian": 0, "lydian": -1, "mixolydian": 1,
    "minor": 3, "aeolian": 3, "dorian": 2, "phrygian": 4, "locrian": 5,
}  # fmt: skip
_MINOR: Final = ("minor", "aeolian", "dorian", "phrygian", "locrian")
#: Signs of the widest signature that a chart can name.
_MOST_FIFTHS: Final = 8
#: Letters that a transposition of 0 to 11 semitones moves by default.
_LETTERS_OF: Final = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)


def fifths_to_note(at: int) -> str:
    """The note at a place; more than two signs are replaced by an enharmonic note.

    >>> fifths_to_note(0), fifths_to_note(-2), fifths_to_note(6), fifths_to_note(20)
    ('C', 'Bb', 'F#', 'G#')
    """
    while not -15 <= at <= 19:
        at += 12 if at < 0 else -12
    return note_at_fifths(at)


@dataclass(frozen=True, slots=True)
class Transposition:
    """The interval from written to sounding notes: `fifths` for names, `semitones` for pitches."""

    fifths: int = 0
    semitones: int = 0


def transposition_of(diatonic: int | None, chromatic: int, octaves: int) -> Transposition:
    """The transposition of a MusicXML ``transpose``: letters, semitones and octaves.

    >>> transposition_of(-1, -2, 0), transposition_of(None, 3, -1)
    (Transposition(fifths=-2, semitones=-2), Transposition(fifths=-3, semitones=-9))
    """
    if diatonic is None:
        whole, rest = divmod(chromatic, 12)
        diatonic = 7 * whole + _LETTERS_OF[rest]
    return Transposition(7 * chromatic - 12 * diatonic, chromatic + 12 * octaves)


@dataclass(frozen=True, slots=True)
class KeySignature:
    """Sharps of a key signature (flats are negative) and its mode."""

    fifths: int
    mode: str = "major"

    @property
    def tonic(self) -> str:
        """The name of the tonic."""
        return fifths_to_note(self.fifths + _MODES.get(self.mode, 0))

    @property
    def name(self) -> str | None:
        """The key as charts write it, by the mode's third; None beyond eight signs.

        >>> KeySignature(-3, "minor").name, KeySignature(0, "dorian").name, KeySignature(12).name
        ('Cm', 'Dm', None)
        """
        if abs(self.fifths) > _MOST_FIFTHS:
            return None
        return self.tonic + ("m" if self.mode in _MINOR else "")

    def transposed(self, by: Transposition) -> KeySignature:
        """The sounding key."""
        return KeySignature(self.fifths + by.fifths, self.mode)

    def degree(self, number: int) -> int:
        """Scale degree `number`, 1 to 7, on the line of fifths, with the signature's signs.

        MusicXML 4.0, numeral-mode: natural minor unless harmonic (7 raised) or melodic (6, 7).

        >>> fifths_to_note(KeySignature(-3, "harmonic minor").degree(7))
        'B'
        """
        kind, _, plain = self.mode.rpartition(" ")
        key = KeySignature(self.fifths, plain)
        letter = LETTERS[(LETTERS.index(key.tonic[0]) + number - 1) % 7]
        at = next(
            n for n in range(self.fifths - 1, self.fifths + 6) if fifths_to_note(n)[0] == letter
        )
        raised = {"harmonic": (7,), "melodic": (6, 7)}.get(kind, ())
        return at + 7 * (number in raised)
