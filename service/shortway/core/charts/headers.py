"""The headers of a chart as either form writes them: key, meter and title, and their limits.

Knows no chart.
"""

from __future__ import annotations

import re
from fractions import Fraction

#: Beats that a measure may have, and the notes that may be one beat.
MAX_NUMERATOR = 32
UNITS = (1, 2, 4, 8, 16, 32)
#: Characters of a title.
MAX_TITLE = 200

KEY_EXPECTED = "a key such as Eb, F#m or C minor"
METER_EXPECTED = "1 to 32 beats over 1, 2, 4, 8, 16 or 32, such as 4/4"
TITLE_EXPECTED = f"one line of 1 to {MAX_TITLE} characters"

_KEY = re.compile(r"([A-G])([b#♭♯]?)\s*(major|maj|minor|min|m|-)?")
_METER = re.compile(r"(\d{1,2})\s*/\s*(\d{1,2})")
_SIGNS = {"♭": "b", "♯": "#"}


def normalize_key(text: str) -> str | None:
    """`text` as a key's usual spelling; None where it is no key.

    >>> [normalize_key(text) for text in ("Eb", "C minor", "F♯m", "Bb major", "H")]
    ['Eb', 'Cm', 'F#m', 'Bb', None]
    """
    match = _KEY.fullmatch(text.strip())
    if match is None:
        return None
    letter, sign, mode = match.groups()
    minor = mode is not None and not mode.startswith("maj")
    return letter + _SIGNS.get(sign, sign) + ("m" if minor else "")


def read_meter(text: str) -> tuple[int, int] | None:
    """`text` as a meter; None where it is none.

    >>> read_meter("6/8"), read_meter("4/3"), read_meter("0/4")
    ((6, 8), None, None)
    """
    match = _METER.fullmatch(text.strip())
    if match is None:
        return None
    beats, unit = int(match[1]), int(match[2])
    return (beats, unit) if 1 <= beats <= MAX_NUMERATOR and unit in UNITS else None


def fit_meter(quarters: Fraction, unit: int) -> tuple[int, int] | None:
    """The meter of a measure so many quarter notes long, in `unit` or the next smaller one.

    >>> fit_meter(Fraction(1), 4), fit_meter(Fraction(3, 2), 4), fit_meter(Fraction(1, 3), 4)
    ((1, 4), (3, 8), None)
    """
    for smaller in UNITS:
        beats = quarters * smaller / 4
        if smaller >= unit and beats.denominator == 1 and beats <= MAX_NUMERATOR:
            return int(beats), smaller
    return None


def normalize_title(text: str) -> str | None:
    """`text` without blanks around it; None where it is empty, too long or not one line."""
    title = text.strip()
    return title if 0 < len(title) <= MAX_TITLE and title.isprintable() else None
