"""Comfort prices: what makes a voicing or a move less welcome than its motion says. Data.

Knows nothing. A price is a whole number of semitones: a price of 4 says that a player would move
four semitones more to avoid what it counts. `voicings.pricing` counts the prices of voicings,
`voice_leading.move_costs` those of moves. The defaults are the same in every key; they were
calibrated on worked voicings from textbooks and on charts from open corpora.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

#: The highest price; 4,096 steps of the dearest voicings still fit 28 bits.
MAX_PRICE: Final = 100
UNIT: Final = "semitones"
PRICING: Final = ("comfort", "none")

#: Semitones that the mean pitch of the upper notes may lie from ``home`` for nothing.
HOME_BAND: Final = 4
#: Semitones above ``home`` up to which the top note is comfortable: E5 over D4.
COMFORTABLE_TOP: Final = 14

_COMMON: Final = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Price:
    """A row of the table.

    `kind`: a term of one voicing, or of one move from a voicing to the next. `default`: semitones
    for each that is counted. `counts`: what is counted.
    """

    name: str
    kind: Literal["voicing", "move"]
    default: int
    counts: str
    source: str = _COMMON


PRICES: Final[dict[str, Price]] = {
    price.name: price
    for price in (
        Price("guide-tone-doubled", "voicing", 4,
              "each upper note too many of a guide tone (third or what suspends it, seventh or "
              "sixth); doubling is free in a diminished seventh"),
        Price("guide-tone-missing", "voicing", 8,
              "each guide tone of the chord that does not sound"),
        Price("sixth-for-seventh", "voicing", 4, "a 6 that stands for the seventh of the chord"),
        Price("written-degree-missing", "voicing", 3,
              "each tension or altered fifth of the symbol that does not sound; of an alt chord "
              "one is enough"),
        Price("pitch-class-missing", "voicing", 4,
              "how many fewer pitch classes sound than there are upper notes, as far as the chord "
              "has more to give; a diminished seventh has four"),
        Price("context-colour-missing", "voicing", 3,
              "each colour that the context asks for and the voicing lacks, two at most"),
        Price("fifth-under-altered-ninths", "voicing", 2,
              "a natural 5 that sounds with both b9 and #9"),
        Price("cluster", "voicing", 2,
              "each three neighbouring upper notes within four semitones"),
        Price("half-step-at-root", "voicing", 3,
              "each half step between neighbours with the root in it: under b9 or over 7"),
        Price("half-step-between-hands", "voicing", 3,
              "a half step between the highest note of the left hand and the lowest of the right"),
        Price("register", "voicing", 1,
              "each whole semitone that the mean pitch of the upper notes lies farther from home "
              f"than {HOME_BAND}"),
        Price("high-top-note", "voicing", 1,
              f"each semitone of the top note beyond {COMFORTABLE_TOP} above home"),
        Price("gap-over-bass", "voicing", 1,
              "without a bass player: each whole tone beyond an octave from the bass to the next "
              "note"),
        Price("bass-third-doubled", "voicing", 12,
              "without a bass player: each upper note that doubles a third in the bass"),
        Price("unheard-change", "move", 6,
              "a change of chord, of more than its bass, in which no note moves"),
        Price("top-note-held", "move", 3,
              "a change of chord, of more than its bass, over which the top note is held"),
        Price("suspension-unresolved", "move", 6,
              "each 4 of a suspended chord that does not fall to the 3 in its own voice where the "
              "same root follows with a major third"),
    )
}  # fmt: skip

VOICING_PRICES: Final = tuple(name for name, price in PRICES.items() if price.kind == "voicing")
MOVE_PRICES: Final = tuple(name for name, price in PRICES.items() if price.kind == "move")

#: The default of every price, in the order of the table.
DEFAULT_PRICES: Final = tuple(price.default for price in PRICES.values())
NO_PRICES: Final = (0,) * len(PRICES)


def priced(overrides: Mapping[str, int]) -> tuple[int, ...]:
    """The prices in the order of the table, defaults where `overrides` names none."""
    return tuple(overrides.get(name, price.default) for name, price in PRICES.items())
