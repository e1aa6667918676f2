"""Patterns: comping rhythms as data.

Knows no chart. A pattern is hits within its measures, each with a length; some anticipate the chord
to come. The patterns are common practice, no source.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

Meter = tuple[int, int]


@dataclass(frozen=True, slots=True)
class PatternHit:
    """A hit of a pattern: its beat from 1, its length in beats, whether it takes the next chord."""

    beat: Fraction
    beats: Fraction
    anticipate: bool = False


@dataclass(frozen=True, slots=True)
class Pattern:
    """A comping pattern.

    `meters`: the meters that it is for; in any other each chord is struck once and held. Empty:
    all. `strokes`: beats count on through its measures; none: each chord is struck once and held.
    `short`: whether its hits are short although they have their whole beats: quarter notes with
    dots.
    """

    id: str
    about: str
    meters: tuple[Meter, ...] = ()
    strokes: tuple[PatternHit, ...] = ()
    measures: int = 1
    short: bool = False

    @property
    def pushes(self) -> bool:
        """Whether its last hit anticipates the measure after it."""
        return bool(self.strokes) and self.strokes[-1].anticipate


def _strokes(*rows: tuple[float, float] | tuple[float, float, bool]) -> tuple[PatternHit, ...]:
    return tuple(PatternHit(Fraction(row[0]), Fraction(row[1]), len(row) > 2) for row in rows)


_FOUR: Final = ((4, 4),)
_THREE: Final = ((3, 4),)
_SIX: Final = ((6, 8),)
_FIVE: Final = ((5, 4),)
PATTERNS: Final[dict[str, Pattern]] = {
    pattern.id: pattern
    for pattern in (
        Pattern("held", "each chord struck once and held"),
        Pattern("varied", "another of the patterns below in each measure, by phrase and seed",
                (*_FOUR, *_THREE, *_SIX, *_FIVE)),
        Pattern("four-to-the-bar", "every beat, short", _FOUR,
                _strokes((1, 1), (2, 1), (3, 1), (4, 1)), short=True),
        Pattern("charleston", "one, and the off-beat of two", _FOUR,
                _strokes((1, 1), (2.5, 0.5))),
        Pattern("charleston-from-one-and", "the same an eighth later: off-beat of one, and three",
                _FOUR, _strokes((1.5, 1), (3, 0.5))),
        Pattern("charleston-from-two", "the same a beat later: two, and the off-beat of three",
                _FOUR, _strokes((2, 1), (3.5, 0.5))),
        Pattern("charleston-from-two-and", "off-beat of two, and four", _FOUR,
                _strokes((2.5, 1), (4, 0.5))),
        Pattern("charleston-from-three", "three, and the off-beat of four, which pushes", _FOUR,
                _strokes((3, 1), (4.5, 0.5, True))),
        Pattern("charleston-with-push", "one, the off-beat of two, and that of four, which pushes",
                _FOUR, _strokes((1, 1), (2.5, 0.5), (4.5, 1.5, True))),
        Pattern("pushes", "the off-beats of two and four, an eighth ahead of the chord they play",
                _FOUR, _strokes((2.5, 1.5, True), (4.5, 1.5, True))),
        Pattern("on-one", "one, held for three beats", _FOUR, _strokes((1, 3))),
        Pattern("two-and", "the off-beat of two alone", _FOUR, _strokes((2.5, 0.5))),
        Pattern("four-and", "the off-beat of four alone, which pushes", _FOUR,
                _strokes((4.5, 1.5, True))),
        Pattern("halves", "one and three, held", _FOUR, _strokes((1, 2), (3, 2))),
        Pattern("off-beats-with-push", "off-beat of one, three, and the off-beat of four: a push",
                _FOUR, _strokes((1.5, 1), (3, 0.5), (4.5, 0.5, True))),
        Pattern("after-beats", "two and three of a waltz", _THREE,
                _strokes((2, 1), (3, 1)), short=True),
        Pattern("waltz-one", "one of a waltz, held for two beats", _THREE, _strokes((1, 2))),
        Pattern("waltz-charleston", "one, and the off-beat of two", _THREE,
                _strokes((1, 1), (2.5, 0.5))),
        Pattern("waltz-in-two", "two dotted quarters in three", _THREE,
                _strokes((1, 1.5), (2.5, 1.5))),
        Pattern("waltz-two-and", "the off-beat of two alone", _THREE, _strokes((2.5, 0.5))),
        Pattern("waltz-push", "two, and the off-beat of three, which pushes", _THREE,
                _strokes((2, 1), (3.5, 1, True))),
        Pattern("two-in-six", "one and four of six", _SIX, _strokes((1, 2), (4, 2))),
        Pattern("six-one", "one of six, held to four", _SIX, _strokes((1, 3))),
        Pattern("six-lilt", "long and short, twice", _SIX,
                _strokes((1, 2), (3, 1), (4, 2), (6, 1))),
        Pattern("six-after", "three and four of six", _SIX, _strokes((3, 1), (4, 2))),
        Pattern("six-push", "four, and six, which pushes", _SIX,
                _strokes((4, 1), (6, 2, True))),
        Pattern("five-one", "one of five, held for three beats", _FIVE, _strokes((1, 3))),
        Pattern("five-as-three-two", "one and four of five", _FIVE, _strokes((1, 2), (4, 1))),
        Pattern("five-as-two-three", "one and three of five", _FIVE, _strokes((1, 1), (3, 2))),
        Pattern("five-off-beats", "the off-beats of two and four", _FIVE,
                _strokes((2.5, 1), (4.5, 0.5))),
        Pattern("five-push", "three, and the off-beat of five, which pushes", _FIVE,
                _strokes((3, 1), (5.5, 1.5, True))),
    )
}  # fmt: skip
HELD_PATTERN: Final = PATTERNS["held"]
VARIED: Final = PATTERNS["varied"]
