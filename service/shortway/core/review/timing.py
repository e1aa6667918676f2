"""Timing: whether a chord was struck ahead of its beat or behind it.

Knows findings; times are quarter notes after the beginning of the step, negative before it.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Final

from shortway.core.review.findings import Finding, make_finding

#: What is heard as off the beat, in quarter notes: a thirty-second note, a sixteenth of a second at
#: 120 a minute. Common practice, no source.
TOLERANCE: Final = Fraction(1, 8)
#: What is a rhythm of its own: an anticipation by a sixteenth note or more, a chord on an off-beat.
RHYTHM: Final = Fraction(1, 4)


def find_timing(onset: Fraction | None) -> Iterator[Finding]:
    """What is said of a chord that is struck `onset` after its step begins; None: not known.

    >>> [f.words for at in ("1/16", "3/16", "-3/16", "-1/2") for f in find_timing(Fraction(at))]
    ['0.19 of a quarter note behind the beat', '0.19 of a quarter note ahead of the beat']
    """
    if onset is None or not TOLERANCE < abs(onset) < RHYTHM:
        return
    code, where = ("late", "behind") if onset > 0 else ("early", "ahead of")
    yield make_finding(code, f"{float(abs(onset)):.2g} of a quarter note {where} the beat")
