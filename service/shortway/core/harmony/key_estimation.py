"""Local keys: the key of each chord of a progression.

Knows chord types, no chart. Every chord has a price in each of the 24 keys, from the table of
the places that chords have in a key; a cadence makes its key cheaper, a change of key costs. The
path of least cost through the keys is found exactly (Viterbi, 24 states).

Source of the places: the diatonic and borrowed chords that both open textbooks list (Hutchinson;
Open Music Theory); the prices are ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

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


#: A chord for key estimation: pitch class of its root, class of its type, its chart's key.
Evidence = tuple[int, str, Key | None]


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


@lru_cache(maxsize=2048)
def role_in(root: int, kind: str, key: Key) -> str:
    """The function of a chord in a key; ``other`` where it has none there.

    >>> role_in(7, "7", key_of(0, False)), role_in(6, "M", key_of(0, False))
    ('dominant', 'other')
    """
    return _TABLES[key % 2].get(((root - key // 2) % 12, kind), _FOREIGN)[0]


# --- the path through the keys -------------------------------------------------------------------

# A chord's prices, and their sums along the best path to each key, are 24 bytes, one a key, least
# significant first in an integer. Sums are kept within `_CHANGE` of the least: from there every
# further key is reached by a change. `_BASE` keeps what is saved from making a byte negative.
_KEYS: Final = 24
_BASE: Final = 32


@lru_cache(maxsize=128)
def _prices(root: int, kind: str) -> int:
    """The prices of a chord in every key, each above `_BASE`."""
    prices = (
        _TABLES[key % 2].get(((root - key // 2) % 12, kind), _FOREIGN)[1] for key in range(_KEYS)
    )
    return int.from_bytes(bytes(_BASE + price for price in prices), "little")


@lru_cache(maxsize=256)
def _clamp(least: int) -> bytes:
    """A translation of bytes to their distance above `least`, at most `_CHANGE`."""
    return bytes(min(max(value - least, 0), _CHANGE) for value in range(256))


def local_keys(
    chords: Sequence[Evidence], cadences: Sequence[tuple[int, int, Key, bool]]
) -> list[Key]:
    """The key of each chord.

    Parameters
    ----------
    chords : sequence of Evidence
    cadences : sequence of (int, int, Key, bool)
        Two chords of the sequence that belong to one key, and whether the second is its tonic.
    """
    prices = [_prices(root, kind) for root, kind, _ in chords]
    for number, (_, _, own) in enumerate(chords):
        if own is not None:
            prices[number] -= _OWN << 8 * own
    if chords and chords[0][1] in "Mm7":
        prices[0] -= _FIRST << 8 * key_of(chords[0][0], chords[0][1] == "m")
    for first, second, key, tonic in cadences:
        saved = (_RESOLVED if tonic else _TWO_FIVE) << 8 * key
        prices[first] -= saved
        prices[second] -= saved
    return _cheapest(prices, [root for root, _, _ in chords])


def _cheapest(prices: Sequence[int], roots: Sequence[int]) -> list[Key]:
    """The least sum of prices and changes; ties stay where they are, else see `_least`."""
    if not prices:
        return []
    sums = [prices[0].to_bytes(_KEYS, "little")]
    for price in prices[1:]:
        so_far = int.from_bytes(sums[-1].translate(_clamp(min(sums[-1]))), "little")
        sums.append((so_far + price).to_bytes(_KEYS, "little"))
    key = _least(sums[-1], roots[-1])
    keys = [key]
    for before, root in zip(reversed(sums[:-1]), reversed(roots[:-1]), strict=True):
        if before[key] > min(before) + _CHANGE:
            key = _least(before, root)
        keys.append(key)
    return keys[::-1]


def _least(prices: bytes, root: int) -> Key:
    """The cheapest key; of several the one whose tonic lies nearest below the root, major first."""
    least = min(prices)
    return min(
        (key for key, price in enumerate(prices) if price == least),
        key=lambda key: ((root - key // 2) % 12, key % 2),
    )
