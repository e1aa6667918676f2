"""Plain music: the rules once more, in plain Python, for tests to judge the core by.

Nothing here imports the core. Key centres follow from piano makers' figures (an octave of 164 to
165 mm), low interval limits are those of an open theory library; degrees are numbers of the major
scale with signs.
"""

from __future__ import annotations

import re
from functools import cache
from itertools import combinations, pairwise

MAJOR_SCALE = {1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 11}
LETTERS = dict(zip("CDEFGAB", MAJOR_SCALE.values(), strict=True))
SIGN = {"b": -1, "#": 1}

#: Centres in mm from the left edge of C, C to B: equal white fronts of 23.5 mm, black
#: keys at the tails (C to E in five slots, F to B in seven).
CENTRES = (
    11.75, 21.15, 35.25, 49.35, 58.75, 82.25, 90.64, 105.75, 117.5, 129.25, 144.36, 152.75,
)  # fmt: skip
OCTAVE_MM = 164.5

#: Lowest bottom note by interval, as an open-source theory library in Elm has them.
LOW_LIMITS = {
    1: "E3", 2: "Eb3", 3: "C3", 4: "Bb2", 5: "Bb2", 6: "Bb2", 7: "Bb1", 8: "G2", 9: "F2",
    10: "F2", 11: "F2", 13: "E2", 14: "Eb2", 15: "C2", 16: "Bb1",
}  # fmt: skip


@cache
def pitch(name: str) -> int:
    """MIDI number of a name with octave, C4 = 60."""
    match = re.fullmatch(r"([A-G])([b#]*)(-?\d+)", name)
    assert match, name
    letter, signs, octave = match.groups()
    return 12 * (int(octave) + 1) + LETTERS[letter] + sum(SIGN[sign] for sign in signs)


def pitches(names: str) -> tuple[int, ...]:
    """MIDI numbers of names that blanks part."""
    return tuple(pitch(name) for name in names.split())


def pitch_class(name: str) -> int:
    """Pitch class of a name without octave."""
    return pitch(name + "4") % 12


@cache
def semitones(degree: str) -> int:
    """Semitones of a degree above the root, 0 to 11."""
    number = int(degree.lstrip("b#"))
    signs = sum(SIGN[sign] for sign in degree.rstrip("0123456789"))
    return (MAJOR_SCALE[(number - 1) % 7 + 1] + signs) % 12


def centre_mm(midi: int) -> float:
    """Centre of a key in mm."""
    return OCTAVE_MM * (midi // 12) + CENTRES[midi % 12]


def span_mm(notes: tuple[int, ...]) -> float:
    """Distance of the outer key centres of one hand in mm."""
    return centre_mm(max(notes)) - centre_mm(min(notes)) if notes else 0.0


def too_low(low: int, high: int) -> bool:
    """Whether an interval lies below its low limit."""
    limit = LOW_LIMITS.get(high - low)
    return limit is not None and low < pitch(limit)


def muddy(notes: tuple[int, ...]) -> bool:
    """Whether two neighbouring notes lie below their low limit."""
    return any(too_low(a, b) for a, b in pairwise(notes))


def assumed_root_muddy(lowest: int, root: int) -> bool:
    """The same for the lowest note over the root, a pitch class, next below it."""
    below = next(n for n in range(lowest, lowest - 12, -1) if n % 12 == root)
    return too_low(below, lowest)


def minor_ninths(notes: tuple[int, ...]) -> list[tuple[int, int]]:
    """Pairs of notes a minor ninth or its octave compounds apart."""
    return [(a, b) for a, b in combinations(sorted(notes), 2) if b - a in (13, 25, 37, 49, 61)]


@cache
def motion(a: tuple[int, ...], b: tuple[int, ...], split_cost: int = 12) -> tuple[int, int]:
    """Semitones and squared semitones of the voices from `a` to `b`, both ascending.

    Equal sizes go voice by voice. Unlike sizes take the cheapest set of pairs in which every note
    of both sides has a part and none cross; each pair beyond the larger... each doubled note costs
    `split_cost`. Written as a recursion from the top, not as the core does it.
    """
    if len(a) == len(b):
        moves = [abs(x - y) for x, y in zip(a, b, strict=True)]
        return sum(moves), sum(m * m for m in moves)
    return _doubled(a, b, split_cost)


@cache
def _doubled(a: tuple[int, ...], b: tuple[int, ...], split_cost: int) -> tuple[int, int]:
    move = abs(a[-1] - b[-1])
    here = (move, move * move)
    if len(a) == len(b) == 1:
        return here
    ways = []
    if len(a) > 1 and len(b) > 1:
        ways.append((_doubled(a[:-1], b[:-1], split_cost), 0))
    if len(a) > 1:
        ways.append((_doubled(a[:-1], b, split_cost), split_cost))
    if len(b) > 1:
        ways.append((_doubled(a, b[:-1], split_cost), split_cost))
    return min((rest[0] + extra + here[0], rest[1] + here[1]) for rest, extra in ways)
