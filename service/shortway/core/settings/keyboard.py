"""The keyboard under two hands: key positions in millimetres, reaches, low interval limits.

Knows numpy and errors only; a key is a MIDI number. Each table has its source; every one of them
can be overridden or left off in a setting.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

#: Width of an octave, 7 equal white fronts of 23.5 mm (164 to 165 mm on modern pianos).
OCTAVE_MM: Final = 164.5

# Centres from the left edge of C. White keys: the middle of the front. Black keys: the tails share
# C to E in five equal slots and F to B in seven (makers' usual practice, ratio 21:20 of the slots).
_WHITE: Final = OCTAVE_MM / 7
_FIVE, _SEVEN = 3 * _WHITE / 5, 4 * _WHITE / 7
_CENTRES: Final = (
    0.5 * _WHITE, 1.5 * _FIVE, 1.5 * _WHITE, 3.5 * _FIVE, 2.5 * _WHITE,
    3.5 * _WHITE, 3 * _WHITE + 1.5 * _SEVEN, 4.5 * _WHITE, 3 * _WHITE + 3.5 * _SEVEN,
    5.5 * _WHITE, 3 * _WHITE + 5.5 * _SEVEN, 6.5 * _WHITE,
)  # fmt: skip

#: Pitch classes of the black keys.
_BLACK_KEYS: Final = frozenset((1, 3, 6, 8, 10))

#: Centre of every key, float64 of shape (midi=128,), in mm from the left edge of C-1.
KEY_MM: Final[NDArray[np.float64]] = np.array(
    [OCTAVE_MM * (midi // 12) + _CENTRES[midi % 12] for midi in range(128)]
)
KEY_MM.flags.writeable = False

#: Named reaches: greatest distance between the outer key centres of one hand, in mm. A hand's span
#: from thumb tip to little finger tip is about 5 mm more (consistent with Boyle, Boyle & Booker
#: 2015: hands below 193, 216, 239 mm do not take ninths, tenths, elevenths with ease).
REACHES: Final[dict[str, float]] = {
    "octave": 166.0,
    "ninth": 198.0,
    "tenth": 226.0,
    "eleventh": 235.0,
}

#: Most notes that one hand strikes.
FINGERS: Final = 5

#: Lowest bottom note (MIDI) of each interval (semitones): low interval limits, an arranger's table.
#: Authors differ by a step or two (Lowell & Pullig, Arranging for Large Jazz Ensemble, is the
#: usual reference); these are the figures of an open-source encoding, firm across three sources
#: for m2 E3, M2 Eb3, m3 C3, M6 m7 M7 F2. Octave, unison and wider than a tenth: no limit.
LOW_INTERVAL_LIMITS: Final[dict[int, int]] = {
    1: 52, 2: 51, 3: 48, 4: 46, 5: 46, 6: 46, 7: 34, 8: 43, 9: 41, 10: 41, 11: 41,
    13: 40, 14: 39, 15: 36, 16: 34,
}  # fmt: skip

_LIMIT: Final = np.array([LOW_INTERVAL_LIMITS.get(semitones, 0) for semitones in range(128)])


def is_black_key(midi: int) -> bool:
    """Whether a key is a black one."""
    return midi % 12 in _BLACK_KEYS


def distance_mm(low: int, high: int) -> float:
    """Distance between two keys' centres in mm: an octave is 164.5, and D to F a tenth up 211.5.

    >>> float(distance_mm(60, 72)), round(float(distance_mm(62, 77)), 1)
    (164.5, 211.5)
    """
    return float(KEY_MM[high] - KEY_MM[low])


def muddy(notes: NDArray[np.int16]) -> NDArray[np.bool_]:
    """Which voicings have an interval below its low limit.

    Parameters
    ----------
    notes : int16, shape (voicings, voices)
        MIDI numbers, ascending along the voices.

    Returns
    -------
    bool, shape (voicings,)

    >>> import numpy as np
    >>> muddy(np.array([[40, 43, 50], [48, 51, 58]], np.int16)).tolist()
    [True, False]
    """
    if notes.shape[1] < 2:
        return np.zeros(len(notes), np.bool_)
    below: NDArray[np.bool_] = notes[:, :-1] < _LIMIT[notes[:, 1:] - notes[:, :-1]]
    return np.asarray(below.any(axis=1))


def muddy_over(root: int | NDArray[np.int16], lowest: NDArray[np.int16]) -> NDArray[np.bool_]:
    """Which lowest notes are muddy over the root, a pitch class, that a bass player supplies.

    The assumed-root rule (Lowell & Pullig; Berklee arranging handbook, ch. 10): where the lowest
    note is not the root, the root is assumed just below it, and that interval is tested too.

    Parameters
    ----------
    root : int, or int16 of shape (voicings,)
        Pitch class.
    lowest : int16, shape (voicings,)
        MIDI numbers.

    Returns
    -------
    bool, shape (voicings,)
    """
    interval = (lowest - root) % 12
    result: NDArray[np.bool_] = lowest - interval < _LIMIT[interval]
    return result


def within_reach(notes: NDArray[np.int16], left: int, reach_mm: float) -> NDArray[np.bool_]:
    """Which voicings two hands reach where the left takes the `left` lowest notes.

    Parameters
    ----------
    notes : int16, shape (voicings, voices)
        MIDI numbers, ascending along the voices.
    left : int
    reach_mm : float
        Widest distance of one hand's outer key centres, in mm.

    Returns
    -------
    bool, shape (voicings,)
    """
    fits = np.ones(len(notes), np.bool_)
    for hand in (notes[:, :left], notes[:, left:]):
        if hand.shape[1] > 1:
            fits &= KEY_MM[hand[:, -1]] - KEY_MM[hand[:, 0]] <= reach_mm
    return fits
