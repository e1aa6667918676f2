"""Plausible charts, any number of them, all distinct and always the same.

Sorts of chord and root motions are drawn with the shares of the Jazz Harmony Treebank in an
earlier published state (1,170 tunes, counted from its data): sorts 7 39.3 %, m7 25.8 %,
maj7 16.9 %, 6 5.5 %, m7b5 4.0 %, m 2.6 %, dim7 2.2 %, sus 1.5 %, m6 1.5 %, m(maj7) 0.4 %,
aug 0.1 %; roots up a fourth 50.3 %, down a semitone 9.5 %, up a fifth 6.2 %, same 6.0 %, down a
minor third 5.9 %, up a whole step 5.6 %, up a semitone 4.3 %, a tritone 3.4 %. The other 8.8 % are
the motions that it does not name, in equal shares. What follows what: m7 to 7 up a fourth
(16.3 % of all pairs), 7 to maj7 (8.1 %), m7b5 to 7 (3.6 %); by these a m7 and a m7b5 mostly turn
into a 7 a fourth up, and a 7 into a maj7. It has no tensions: those are ours, one chord in four.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

ROOTS = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")

SORTS = {
    "7": 39.3, "m7": 25.8, "maj7": 16.9, "6": 5.5, "m7b5": 4.0, "m": 2.6, "dim7": 2.2,
    "7sus": 1.5, "m6": 1.5, "mM7": 0.4, "aug": 0.1,
}  # fmt: skip

MOTIONS = {
    5: 50.3, 11: 9.5, 7: 6.2, 0: 6.0, 9: 5.9, 2: 5.6, 1: 4.3, 6: 3.4,
    3: 2.2, 4: 2.2, 8: 2.2, 10: 2.2,
}  # fmt: skip
"""Semitones upwards, modulo 12."""

#: Where the root moves up a fourth: the chord_type that follows a chord_type, and how often it
#: does.
CADENCES = {"m7": ("7", 0.8), "m7b5": ("7", 0.9), "7": ("maj7", 0.3)}

RICHER = {"7": ("9", "13", "7b9"), "m7": ("m9", "m11"), "maj7": ("maj9",), "6": ("6/9",)}


def requests(count: int, measures: int = 32, seed: int = 9) -> Iterator[dict[str, Any]]:
    """`count` requests with ids from ``tune-0``, each a chart of so many measures."""
    for number in range(count):
        draw = random.Random(f"{seed}/{number}")
        yield {"id": f"tune-{number}", "chart": {"text": chart(draw, measures)}}


def chart(draw: random.Random, measures: int) -> str:
    """A chart with one chord a measure, two in every fourth or so."""
    chords = progression(draw)
    told = [
        " ".join(next(chords) for _ in range(1 + (draw.random() < 0.25))) for _ in range(measures)
    ]
    return f"| {' | '.join(told)} |"


def progression(draw: random.Random) -> Iterator[str]:
    """Chords without end."""
    root, chord_type = draw.randrange(12), _drawn(draw, SORTS)
    while True:
        richer = RICHER.get(chord_type) if draw.random() < 0.25 else None
        yield ROOTS[root] + (draw.choice(richer) if richer else chord_type)
        motion = _drawn(draw, MOTIONS)
        root = (root + motion) % 12
        chord_type = _following(draw, chord_type) if motion == 5 else _drawn(draw, SORTS)


def _following(draw: random.Random, chord_type: str) -> str:
    after, share = CADENCES.get(chord_type, ("", 0.0))
    return after if draw.random() < share else _drawn(draw, SORTS)


def _drawn(draw: random.Random, shares: dict[Any, float]) -> Any:
    return draw.choices(list(shares), list(shares.values()))[0]
