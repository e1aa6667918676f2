"""Local keys: the key of each chord of a progression.

Knows chord types, no chart. Every chord has a price in each of the 24 keys, from the table of
the places that chords have in a key; a cadence makes its key cheaper, a change of key costs. The
path of least cost through the keys is found exactly (Viterbi, 24 states).

Source of the places: the diatonic and borrowed chords that both open textbooks list (Hutchinson;
Open Music Theory); the prices are ours.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Final

from shortway.core.theory.pitch import pitch_class

#: Sorts of chord as a key sees them: major, minor, dominant, half-diminished, diminished.
CLASS: Final[dict[str, str]] = {
    "power": "M", "major": "M", "augmented": "M", "suspended": "M", "major-sixth": "M",
    "major-seventh": "M", "augmented-major-seventh": "M",
    "minor": "m", "minor-sixth": "m", "minor-seventh": "m", "minor-major-seventh": "m",
    "dominant": "7", "dominant-suspended": "7",
    "half-diminished": "h", "diminished": "o", "diminished-seventh": "o",
}  # fmt: skip

Role = tuple[str, int]

# What a chord is by its distance above the tonic, and what it costs there in quarters. What stands
# in neither table is foreign to the key.
_FOREIGN: Final[Role] = ("other", 12)
_MAJOR: Final[dict[tuple[int, str], Role]] = {
    (0, "M"): ("tonic", 0), (0, "7"): ("tonic", 3), (0, "m"): ("tonic", 10),
    (1, "7"): ("substitute-dominant", 4), (1, "M"): ("borrowed", 6),
    (1, "o"): ("passing-diminished", 3),
    (2, "m"): ("predominant", 0), (2, "7"): ("dominant", 4), (2, "h"): ("predominant", 6),
    (3, "o"): ("passing-diminished", 3), (3, "M"): ("borrowed", 6),
    (3, "7"): ("substitute-dominant", 6),
    (4, "m"): ("mediant", 2), (4, "7"): ("dominant", 4), (4, "h"): ("predominant", 5),
    (5, "M"): ("subdominant", 2), (5, "7"): ("subdominant", 4), (5, "m"): ("subdominant", 5),
    (6, "h"): ("predominant", 6), (6, "o"): ("passing-diminished", 3),
    (6, "7"): ("substitute-dominant", 6),
    (7, "7"): ("dominant", 0), (7, "M"): ("dominant", 6), (7, "m"): ("predominant", 6),
    (8, "M"): ("borrowed", 6), (8, "7"): ("substitute-dominant", 4),
    (8, "o"): ("passing-diminished", 4),
    (9, "m"): ("submediant", 2), (9, "7"): ("dominant", 4), (9, "h"): ("predominant", 7),
    (10, "7"): ("backdoor-dominant", 4), (10, "M"): ("borrowed", 6),
    (11, "h"): ("predominant", 4), (11, "7"): ("dominant", 5), (11, "o"): ("passing-diminished", 2),
}  # fmt: skip
_MINOR: Final[dict[tuple[int, str], Role]] = {
    (0, "m"): ("tonic", 0), (0, "7"): ("tonic", 8),
    (1, "7"): ("substitute-dominant", 4), (1, "M"): ("borrowed", 5),
    (2, "h"): ("predominant", 0), (2, "m"): ("predominant", 6), (2, "7"): ("dominant", 5),
    (3, "M"): ("mediant", 2),
    (5, "m"): ("subdominant", 2), (5, "7"): ("subdominant", 4),
    (6, "o"): ("passing-diminished", 4),
    (7, "7"): ("dominant", 0), (7, "M"): ("dominant", 6), (7, "m"): ("subdominant", 5),
    (8, "M"): ("submediant", 2), (8, "7"): ("substitute-dominant", 4),
    (9, "h"): ("submediant", 5),
    (10, "7"): ("subdominant", 4), (10, "M"): ("subdominant", 5),
    (11, "o"): ("passing-diminished", 1),
}  # fmt: skip
_TABLES: Final = (_MAJOR, _MINOR)

#: Tonics by pitch class, major and minor: the fewest signs in the signature, of six sharps and six
#: flats the flats (circle of fifths, any textbook; flats are common practice in jazz). Abm for
#: G#m, whose ii is Bbm7b5 and not A#m7b5: common practice, no source.
NAMES: Final = (
    ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"),
    ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"),
)

#: What another key costs, and what the chart's own key saves at every chord.
_CHANGE: Final = 16
_OWN: Final = 2
#: What the first chord saves in the key of which it is the tonic: most tunes begin there.
_FIRST: Final = 6
#: What a cadence saves in its key: at both chords of a dominant and its goal, of a two and a five.
_RESOLVED: Final = 4
_TWO_FIVE: Final = 2

#: A key: pitch class of the tonic, twice, and one more in minor.
Key = int
_KEYS: Final = 24

#: A chord as keys see it: five times the pitch class of its root, and the index of its class.
ChordNumber = int
CLASSES: Final = "Mm7ho"

#: The place of each chord in each key.
_PLACES: Final[list[list[Role]]] = [
    [_TABLES[key % 2].get(((root - key // 2) % 12, kind), _FOREIGN) for key in range(_KEYS)]
    for root in range(12)
    for kind in CLASSES
]
_ROLES: Final = [[role for role, _ in places] for places in _PLACES]


def key_of(tonic: int, minor: bool) -> Key:
    """The number of a key.

    >>> key_of(0, False), key_of(0, True)
    (0, 1)
    """
    return 2 * (tonic % 12) + minor


def key_name(key: Key) -> str:
    """A key as a chart usually writes it.

    >>> key_name(key_of(1, False)), key_name(key_of(1, True))
    ('Db', 'C#m')
    """
    tonic, minor = divmod(key, 2)
    return NAMES[minor][tonic] + "m" * minor


@lru_cache(maxsize=64)
def read_key(name: str) -> Key:
    """The key of a name, such as ``C#m``."""
    return key_of(pitch_class(name.removesuffix("m")), name.endswith("m"))


def chord_number(root: int, kind: str) -> ChordNumber:
    """The number of a chord of the class `kind` above the pitch class `root`."""
    return len(CLASSES) * root + CLASSES.index(kind)


def roles_in(chords: Sequence[ChordNumber], keys: Sequence[Key]) -> list[str]:
    """The function of each chord in its key; ``other`` where it has none there.

    >>> roles_in([chord_number(7, "7"), chord_number(6, "M")], [key_of(0, False)] * 2)
    ['dominant', 'other']
    """
    return [_ROLES[chord][key] for chord, key in zip(chords, keys, strict=True)]


# --- the path through the keys -------------------------------------------------------------------

# A chord's prices, and their sums along the best path to each key, are 24 bytes, one a key, least
# significant first in an integer. Tonics descend: of keys that cost the same, the one whose tonic
# lies nearest below a root is the first from the root on. Sums are kept within `_CHANGE` of the
# least: from there every further key is reached by a change. `_BASE` keeps what is saved from
# making a byte negative. One byte more is `_FLOOR` above what no price of the chord is less than.
_BASE: Final = 32
_FLOOR: Final = 128
#: The byte of each key, and the key of each byte.
_BYTE: Final = [(-2 * (key // 2)) % _KEYS + key % 2 for key in range(_KEYS)]
_PRICES: Final = [
    int.from_bytes(
        bytes(_BASE + places[_BYTE[at]][1] for at in range(_KEYS)) + bytes([_FLOOR + _BASE]),
        "little",
    )
    for places in _PLACES
]
#: By what is saved, that much less for each key and for the least that a price may be.
_SAVED: Final = {
    saved: [saved * ((1 << 8 * _BYTE[key]) + (1 << 8 * _KEYS)) for key in range(_KEYS)]
    for saved in (_OWN, _FIRST, _RESOLVED, _TWO_FIVE)
}
#: By the least sum, a translation of sums to their distance above it, at most `_CHANGE`.
_CLAMPS: Final = [
    bytes(min(max(value - least, 0), _CHANGE) * (value < _FLOOR) for value in range(256))
    for least in range(64)
]


def local_keys(
    chords: Sequence[ChordNumber],
    own: Sequence[Key | None],
    cadences: Iterable[tuple[int, int, Key, bool]],
) -> list[Key]:
    """The key of each chord.

    Parameters
    ----------
    chords : sequence of ChordNumber
    own : sequence of Key or None
        The chart's own key at each; empty where it has none.
    cadences : iterable of (int, int, Key, bool)
        Two chords of the sequence that belong to one key, and whether the second is its tonic.
    """
    prices = [_PRICES[chord] for chord in chords]
    for number, key in enumerate(own):
        if key is not None:
            prices[number] -= _SAVED[_OWN][key]
    if chords and CLASSES[chords[0] % len(CLASSES)] in "Mm7":
        root, kind = divmod(chords[0], len(CLASSES))
        prices[0] -= _SAVED[_FIRST][key_of(root, CLASSES[kind] == "m")]
    for first, second, key, tonic in cadences:
        saved = _SAVED[_RESOLVED if tonic else _TWO_FIVE][key]
        prices[first] -= saved
        prices[second] -= saved
    return _cheapest(prices, chords)


def _cheapest(prices: Sequence[int], chords: Sequence[ChordNumber]) -> list[Key]:
    """The least sum of prices and changes; ties stay where they are, else see `_least`."""
    found: list[tuple[bytes, int]] = []
    so_far = 0
    from_bytes = int.from_bytes
    for price in prices:
        sums = (so_far + price).to_bytes(_KEYS + 1, "little")
        least = sums[_KEYS] - _FLOOR
        while least not in sums:
            least += 1
        found.append((sums, least))
        so_far = from_bytes(sums.translate(_CLAMPS[least]), "little")
    keys: list[Key] = []
    at = key = 0
    for (sums, least), chord in zip(reversed(found), reversed(chords), strict=True):
        if not keys or sums[at] > least + _CHANGE:
            at = _least(sums, least, chord)
            key = _BYTE[at]
        keys.append(key)
    return keys[::-1]


def _least(sums: bytes, least: int, chord: ChordNumber) -> int:
    """The byte of the cheapest key; of several the first below the root, major before minor."""
    at = sums.find(least, _BYTE[2 * (chord // len(CLASSES))])
    return at if at >= 0 else sums.index(least)
