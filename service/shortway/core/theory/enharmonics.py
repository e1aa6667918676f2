"""Enharmonics: the names that a player reads, where theory's spelling is harder than it need be.

Knows note names only. Theory spells a tension from the chord's root: the #9 of A7 is B#. Players
read the plain name: C. Double accidentals, E#, B#, Cb and Fb are avoided unless the symbol or the
key signature has them: Gould, Behind Bars (2011), on the spelling of accidentals (from memory, no
page).
"""

from collections.abc import Collection, Mapping, Sequence
from functools import lru_cache
from typing import Final

from shortway.core.theory.pitch import midi_number, pitch_class, spell, with_octave

#: Plain names of the pitch classes, on the side of the sharps and of the flats.
_SHARP: Final = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_FLAT: Final = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_HARD: Final = frozenset({"E#", "B#", "Cb", "Fb"})
#: Semitones of the third above the root of a triad, and the degree that it is.
_THIRDS: Final = {4: "3", 3: "b3"}


@lru_cache(maxsize=8192)
def practical_name(note: str, keep: Collection[str] = ()) -> str:
    """The name that a player reads for a note, with an octave or without.

    `note`: ``B#`` or ``B#3``. `keep`: names without octave that stay as they are: those of the
    symbol's root and bass, and those of the key signature.

    >>> [practical_name(n) for n in ("B#3", "Fb", "F##4", "Bbb2", "D#5")]
    ['C4', 'E', 'G4', 'A2', 'D#5']
    >>> practical_name("Cb4", ("Cb",))
    'Cb4'
    """
    name = note.rstrip("-0123456789")
    if name in keep or (len(name) < 3 and name not in _HARD):
        return note
    plain = (_FLAT if "b" in name[1:] else _SHARP)[pitch_class(name)]
    return plain if name == note else with_octave(plain, midi_number(note))


def triad_names(names: Sequence[str]) -> Mapping[int, str]:
    """The names of a major or minor triad in thirds, by pitch class; empty where it is none.

    Of the two spellings of its root the one with fewer hard names, then the one that changes
    fewer of `names`, which have no octave.

    >>> triad_names(("Ab", "C", "D#"))
    {8: 'Ab', 0: 'C', 3: 'Eb'}
    """
    classes = {pitch_class(name) for name in names}
    root = next((pc for pc in sorted(classes) if _is_triad(pc, classes)), None)
    if root is None or len(classes) != 3:
        return {}
    third = _THIRDS[min((pc - root) % 12 for pc in classes - {root})]
    spellings = [
        (name, spell(name, third), spell(name, "5")) for name in {_SHARP[root], _FLAT[root]}
    ]
    best = min(spellings, key=lambda s: (_hard(s), len({*s} - {*names}), s))
    return {pitch_class(name): name for name in best}


def _is_triad(root: int, classes: set[int]) -> bool:
    return (root + 7) % 12 in classes and any((root + t) % 12 in classes for t in _THIRDS)


def _hard(names: Sequence[str]) -> int:
    return sum(len(name) > 2 or name in _HARD for name in names)
