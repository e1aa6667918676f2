"""Names of the 24 keys in one progression, as its chart names or its chords spell them.

Knows chords in a row; no function.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

from shortway.core.harmony.key_estimation import Key, key_name, key_of, read_key
from shortway.core.harmony.progression import ActingChord
from shortway.core.theory.pitch import fifths_from_c, note_at_fifths, pitch_class

#: Fifths from a V and from a half-diminished ii down to their tonic.
_FALLS: Final = {"7": 1, "h": 2}
#: Tonics by fifths, Gb to A#.
_PLAIN: Final = range(-6, 11)
_USUAL: Final = [key_name(key) for key in range(24)]

_NUMERALS: Final = (
    "I", "bII", "II", "bIII", "III", "IV", "#IV", "V", "bVI", "VI", "bVII", "VII",
)  # fmt: skip
_MODES: Final = ("major", "minor")


def names_of_keys(chords: Sequence[ActingChord], named: Sequence[str | None]) -> list[str]:
    """Names of the 24 keys: as the chart names or spells them, else as they usually are.

    The first of several spellings stands. A key whose tonic does not sound is spelled as its V or
    its ii is: Bbm7b5 Eb7 lead to Abm.
    """
    names = _USUAL.copy()
    different = [*dict.fromkeys(chords)][::-1]
    for chord in different:
        if chord.kind in _FALLS:
            for key, name in _goals(chord.root_name, _FALLS[chord.kind]):
                names[key] = name
    for chord in different:
        if chord.kind in "Mm":
            names[key_of(chord.root, chord.kind == "m")] = chord.key
    for own in reversed(named):
        if own is not None:
            names[read_key(own)] = own
    return names


@lru_cache(maxsize=256)
def _goals(root: str, fall: int) -> tuple[tuple[Key, str], ...]:
    """Major and minor key `fall` fifths below a root, by its spelling; none for Cb, Fb, E#, B#."""
    at = fifths_from_c(root) - fall
    if at not in _PLAIN:
        return ()
    tonic = note_at_fifths(at)
    return tuple(
        (key_of(pitch_class(tonic), minor), tonic + "m" * minor) for minor in (False, True)
    )


def place_in(root: int, name: str) -> str:
    """The place of a root in the key of this name, in words.

    >>> place_in(7, "Cm")
    'V in C minor'
    """
    tonic, minor = divmod(read_key(name), 2)
    return f"{_NUMERALS[(root - tonic) % 12]} in {name.removesuffix('m')} {_MODES[minor]}"
