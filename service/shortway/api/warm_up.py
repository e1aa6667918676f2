"""Tables that most requests need, computed before the first: processes forked later share them.

Knows the solver, no noun.
"""

from __future__ import annotations

from typing import Final

from shortway.core.settings.presets import PRESETS
from shortway.core.solver import solve

#: Roots in fourths, as most chords move; their count and that of the types have no common factor.
_ROOTS: Final = ("C", "F", "Bb", "Eb", "Ab", "Db", "Gb", "B", "E", "A", "D", "G")
_TYPES: Final = (
    "m7", "7", "maj7", "m9", "13", "6", "m7b5", "7b9", "m6", "dim7", "9", "6/9", "7sus",
)  # fmt: skip


def warm_up() -> None:
    """Solve a chart that has every type of chord on every root, with every preset."""
    count = len(_ROOTS) * len(_TYPES)
    symbols = (_ROOTS[n % len(_ROOTS)] + _TYPES[n % len(_TYPES)] for n in range(count))
    chart = " | ".join(symbols)
    for preset in PRESETS:
        solve.solve(chart, {"preset": preset})
