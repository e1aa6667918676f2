"""The tempo at which chords last whole beats: lengths in seconds -> beats a minute.

Of all tempos the one at which the lengths are nearest to whole beats, best to a measure, then to
two or a half. Tempos an octave apart fit alike; of these the one is taken at which more chords last
a measure, then the one nearer to 120, around which listeners tap (Moelants, ICMPC 2002; from
memory).
"""

import math
from collections.abc import Sequence
from typing import Final

#: Beats a minute that are tried, from the slowest to the fastest, by this ratio.
_SLOWEST: Final = 50.0
_FASTEST: Final = 220.0
_RATIO: Final = 1.004
_PREFERRED: Final = 120.0
#: What an octave from the preferred tempo costs, in beats that a chord is off.
_OCTAVE: Final = 0.03
#: What a length costs that is not one measure: half a measure or whole ones, and any other.
_MEASURES: Final = 0.04
_OTHER: Final = 0.12
#: Lengths that are looked at; more of them say no more.
_MOST: Final = 400


def estimate_tempo(seconds: Sequence[float], beats: int) -> float:
    """Beats a minute of chords that last so many seconds, in measures of `beats` beats.

    >>> estimate_tempo([2.4, 1.2, 1.2, 4.8, 2.4], 4)
    100.0
    """
    step = -(-len(seconds) // _MOST)
    taken = seconds[::step]
    count = int(math.log(_FASTEST / _SLOWEST) / math.log(_RATIO))
    best = min(
        (_SLOWEST * _RATIO**k for k in range(count + 1)), key=lambda t: _cost(t, taken, beats)
    )
    return round(_refined(best, taken), 1)


def _cost(tempo: float, seconds: Sequence[float], beats: int) -> float:
    """How far the lengths are from whole beats, in beats a measure, and from whole measures."""
    cost = 0.0
    for length in seconds:
        exact = length * tempo / 60
        whole = max(1, round(exact))
        off = beats * abs(exact - whole) / whole
        cost += length * (off + _unevenness(whole, beats))
    return cost / sum(seconds) + _OCTAVE * abs(math.log2(tempo / _PREFERRED))


def _unevenness(whole: int, beats: int) -> float:
    if whole == beats:
        return 0.0
    return _MEASURES if whole % beats == 0 or 2 * whole == beats else _OTHER


def _refined(tempo: float, seconds: Sequence[float]) -> float:
    """The tempo at which the lengths add up to the beats that they were rounded to."""
    whole = sum(max(1, round(length * tempo / 60)) for length in seconds)
    return 60 * whole / sum(seconds)
