"""Chord: what a symbol stands for, as a frozen value.

Knows pitch and qualities. A chord is a root, a bass and a quality; all else follows from them and
is worked out when first asked for. Chords are equal when they stand for the same: `symbol`, the
spelling they were read from, does not count.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from shortway.core.theory.notations import KindDegree as KindDegree
from shortway.core.theory.pitch import DEGREES, LETTERS, NATURALS, pitch_class, spell
from shortway.core.theory.qualities import Quality

_DIGITS_AFTER_DOUBLED_SIGN = ("5", "9", "11", "13")


@dataclass(frozen=True, slots=True)
class Tone:
    """A degree of a chord with its spelled note, without octave, and pitch class 0 to 11."""

    degree: str
    note: str
    pitch_class: int


@dataclass(frozen=True)
class Chord:
    """What a symbol stands for; ``N.C.`` has no root and no tones.

    Parameters
    ----------
    symbol : str
        As written; not compared.
    root, bass : str or None
        Note names; `bass` only where the symbol writes a slash bass.
    content : Quality
        All that transposition leaves alone.
    """

    symbol: str = field(compare=False)
    root: str | None
    bass: str | None
    content: Quality

    def __hash__(self) -> int:
        return self._hash

    @cached_property
    def _hash(self) -> int:
        return hash((self.root, self.bass, self.content))

    @cached_property
    def name(self) -> str:
        """The canonical spelling; reads back as the same chord.

        After a doubled sign the digits 5, 9, 11 and 13 could be taken for an alteration, so
        there a word stands between: ``Bbbdom9``.
        """
        if self.root is None:
            return "N.C."
        suffix = self.quality
        if len(self.root) == 3 and suffix.startswith(_DIGITS_AFTER_DOUBLED_SIGN):
            suffix = "(no3)" + suffix[1:] if suffix[0] == "5" else "dom" + suffix
        return self.root + suffix + (f"/{self.bass}" if self.bass else "")

    @property
    def quality(self) -> str:
        """The canonical spelling without root and bass."""
        return self.content.suffix

    @property
    def chord_type(self) -> str:
        """The row of the tension table (`shortway.core.theory.qualities.CHORD_TYPES`)."""
        return self.content.chord_type

    @property
    def kind(self) -> str:
        """MusicXML 4.0 kind value."""
        return self.content.musicxml[0]

    @property
    def kind_degrees(self) -> tuple[KindDegree, ...]:
        """The degree children of the MusicXML kind."""
        return self.content.musicxml[1]

    @cached_property
    def harte(self) -> str:
        """Harte label; ``N`` where there is no chord."""
        if self.root is None:
            return "N"
        bass = f"/{_interval(self.root, self.bass)}" if self.bass else ""
        return f"{self.root}:{self.content.harte}{bass}"

    @property
    def degrees(self) -> tuple[str, ...]:
        """The degrees of `tones`."""
        return self.content.degrees

    @cached_property
    def tones(self) -> tuple[Tone, ...]:
        """All that the symbol implies, in the order 1 3 5 6 7 9 11 13."""
        return self._spelled(self.content.degrees)

    @property
    def written(self) -> tuple[str, ...]:
        """Degrees that the symbol writes over its triad, seventh or sixth: ``("b9", "#11")``."""
        return self.content.written

    @property
    def guide_tones(self) -> tuple[str, ...]:
        """Third (or the 4 or 9 of a sus) and seventh or sixth, as far as the chord has them."""
        return self.content.guide_tones

    @cached_property
    def tensions(self) -> tuple[Tone, ...]:
        """Degrees beyond `tones` that theory allows."""
        return self._spelled(self.content.tensions)

    @property
    def colours(self) -> tuple[str, ...]:
        """The tensions that are added without being written (``tensions: available``)."""
        return self.content.colours

    @property
    def avoid(self) -> tuple[str, ...]:
        """Degrees of the chord's scales that lie a half step above a chord tone."""
        return self.content.avoid

    @cached_property
    def root_pc(self) -> int | None:
        """Pitch class of the root, 0 to 11."""
        return None if self.root is None else pitch_class(self.root)

    @cached_property
    def bass_pc(self) -> int | None:
        """Pitch class of the written slash bass, 0 to 11."""
        return None if self.bass is None else pitch_class(self.bass)

    def _spelled(self, degrees: tuple[str, ...]) -> tuple[Tone, ...]:
        if self.root is None:
            return ()
        root, at = self.root, pitch_class(self.root)
        return tuple(Tone(d, spell(root, d), (at + DEGREES[d]) % 12) for d in degrees)


def _interval(root: str, note: str) -> str:
    """`note` as a degree 1 to 7 above `root`, with as many signs as it needs.

    >>> _interval("Ab", "Gb"), _interval("C", "F#"), _interval("C", "Db")
    ('b7', '#4', 'b2')
    """
    letters = (LETTERS.index(note[0]) - LETTERS.index(root[0])) % 7
    sign = (pitch_class(note) - pitch_class(root) - NATURALS[letters] + 6) % 12 - 6
    return ("b" * -sign or "#" * sign) + str(letters + 1)
