"""Systems: which measures stand on one line.

Knows widths in staff spaces, no format. Four measures make a system where they fit, else two or one
(common practice, no source); a section, and what follows a jump, begins one.
"""

from collections.abc import Collection, Sequence
from itertools import accumulate, pairwise
from typing import Final

#: Measures of a system, the most first.
_COUNTS: Final = (4, 2, 1)
#: Staff spaces: of a system's clef and signature, of a bar line and the room around it, of a
#: struck chord, of a character of a chord symbol and of the gap after it.
_HEAD: Final = 12.0
_BAR: Final = 2.5
_CHORD: Final = 3.0
_CHARACTER: Final = 1.1
_GAP: Final = 1.5
#: Staff spaces of a system on A4 or Letter with a staff 7 mm high (Gould, *Behind Bars*, 2011, has
#: 7 mm as rastral size 3, for single and piano parts; from memory).
PAPER: Final = 108.0


def measure_width(chords: int, symbols: Sequence[str]) -> float:
    """The least width of a measure with so many struck chords and these texts over it."""
    texts = sum(_CHARACTER * len(text) + _GAP for text in symbols)
    return _BAR + max(_CHORD * chords, texts)


def system_begins(
    widths: Sequence[float], begins: Collection[int], room: float = PAPER, *, pickup: bool = False
) -> frozenset[int]:
    """The measures, from 0, with which systems begin.

    Parameters
    ----------
    widths : sequence of float, shape (measures,)
        In staff spaces.
    begins : collection of int
        Measures that begin a system whatever comes before.
    room : float
        The width of a system.
    pickup : bool
        Whether the first measure is short and stands before the four of its system.

    >>> sorted(system_begins([10.0] * 10, {5}))
    [0, 5]
    """
    if pickup and len(widths) > 1:
        joined = [widths[0] + widths[1], *widths[2:]]
        rest = system_begins(joined, {begin - 1 for begin in begins if begin > 1}, room)
        return frozenset({0, *(begin + 1 for begin in rest if begin)})
    edges = sorted({0, *begins, len(widths)})
    found: set[int] = set()
    for first, end in pairwise(edges):
        found |= _rows(widths, first, end, room - _HEAD)
    return frozenset(found)


def _rows(widths: Sequence[float], first: int, end: int, room: float) -> set[int]:
    """The first measures of the systems from `first` to `end`."""
    sums = [0.0, *accumulate(widths)]

    def fit(rows: Sequence[int]) -> bool:
        return all(sums[b] - sums[a] <= room for a, b in zip(rows, [*rows[1:], end], strict=True))

    for count in _COUNTS:
        rows = list(range(first, end, count))
        if fit(rows) or count == 1:
            break
    if len(rows) > 1 and end - rows[-1] == 1 and fit(rows[:-1]):
        del rows[-1]  # no measure stands alone
    return set(rows)
