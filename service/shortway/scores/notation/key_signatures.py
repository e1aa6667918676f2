"""Key signatures and their alterations."""

from functools import lru_cache
from typing import Final

from shortway.core.charts.headers import normalize_key
from shortway.core.theory.pitch import SIGNS, fifths_from_c

_LINE_OF_FIFTHS: Final = "FCGDAEB"
_MOST_FIFTHS: Final = 7


@lru_cache(maxsize=256)
def key_fifths(key: str) -> tuple[int, str]:
    """Sharps of a key (flats are negative) and its mode; of the enharmonic key beyond seven.

    >>> key_fifths("Eb"), key_fifths("F#m"), key_fifths("G#"), key_fifths("Cm")
    ((-3, 'major'), (3, 'minor'), (-4, 'major'), (-3, 'minor'))
    """
    name = normalize_key(key) or "C"
    mode = "minor" if name.endswith("m") else "major"
    sharps = fifths_from_c(name.removesuffix("m")) - 3 * (mode == "minor")
    while abs(sharps) > _MOST_FIFTHS:
        sharps -= 12 if sharps > 0 else -12
    return sharps, mode


def signature_alterations(sharps: int) -> dict[str, int]:
    """The letters that a key signature alters, and by how many semitones.

    >>> signature_alterations(-2)
    {'B': -1, 'E': -1}
    """
    if sharps >= 0:
        return dict.fromkeys(_LINE_OF_FIFTHS[:sharps], 1)
    return dict.fromkeys(_LINE_OF_FIFTHS[::-1][:-sharps], -1)


@lru_cache(maxsize=1024)
def split_note_name(name: str) -> tuple[str, int, int]:
    """A note's letter, alteration in semitones, and octave.

    >>> split_note_name("Bbb3"), split_note_name("C-1")
    (('B', -2, 3), ('C', 0, -1))
    """
    rest = name[1:].lstrip("b#")
    return name[0], SIGNS[name[1 : len(name) - len(rest)]], int(rest)
