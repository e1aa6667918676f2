"""Chord: what a symbol stands for, as a frozen value.

Knows pitch and qualities. A chord is built once, by `shortway.core.symbols.parse`; everything
here is relative to nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Tone:
    """A degree of a chord with its spelled note, without octave, and pitch class 0 to 11."""

    degree: str
    note: str
    pitch_class: int


@dataclass(frozen=True, slots=True)
class KindDegree:
    """A MusicXML 4.0 ``degree`` child: value, alter in semitones, type."""

    value: int
    alter: int
    type: Literal["add", "alter", "subtract"]


@dataclass(frozen=True, slots=True)
class Chord:
    """What a symbol stands for; ``N.C.`` has no root and no tones.

    Attributes
    ----------
    symbol : str
        As written.
    name : str
        The canonical spelling; reads back as the same chord.
    root, bass : str or None
        Note names; `bass` only where the symbol writes a slash bass.
    quality : str
        The canonical spelling without root and bass: all that transposition leaves alone.
    sort : str
        The row of the tension table that the quality belongs to (`shortway.core.qualities.SORTS`).
    kind : str
        MusicXML 4.0 kind value; `kind_degrees` are its degree children.
    harte : str
        Harte label.
    tones : tuple of Tone
        All that the symbol implies, in the order 1 3 5 7 9 11 13.
    written : tuple of str
        Degrees that the symbol writes over its triad, seventh or sixth, such as ``("b9", "#11")``.
    guide_tones : tuple of str
        Third (or the 4 or 9 of a sus) and seventh or sixth, as far as the chord has them.
    tensions : tuple of Tone
        Degrees beyond `tones` that theory allows: a whole step above a chord tone, and a
        dominant's altered ninths and thirteenth by licence.
    colours : tuple of str
        The tensions that are added without being written (``tensions: available``).
    avoid : tuple of str
        Natural degrees of the chord's scale that lie a half step above a chord tone.
    """

    symbol: str
    name: str
    root: str | None
    bass: str | None
    quality: str
    sort: str
    kind: str
    kind_degrees: tuple[KindDegree, ...]
    harte: str
    tones: tuple[Tone, ...]
    written: tuple[str, ...]
    guide_tones: tuple[str, ...]
    tensions: tuple[Tone, ...]
    colours: tuple[str, ...]
    avoid: tuple[str, ...]
