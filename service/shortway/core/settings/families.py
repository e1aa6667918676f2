"""The families as a table of recipes: data, and the few facts that follow from it.

Knows no chord and no note. A recipe is a row of seats from low to high; which degree of a chord
takes a seat is said by `SEATS`, and `voicings.templates.seat_filling` does the seating. Adding a
family of seats is adding rows. Families built by another rule (``close``, drops, ``fourths``,
``upper-structure``, ``guide-tone-colours``) name that rule in `Family.built`. Triads have rows of
their own in every family, which `voicings.templates.guide_tones` builds.

Sources: rootless, spread and close rows as in Hutchinson, *Music Theory for the 21st-Century
Classroom*, jazz unit; a rootless 1 for 9, a 11 for the third of a half-diminished chord, b9 over
the root of a sus and the seventh under an upper structure as printed by Levine, *The Jazz Theory
Book* (1995), figures 9-54, 3-114, 9-47 and 13-56; drop voicings, fourths, upper structures and
guide tones under free colours are common practice, no one source.
"""

from dataclasses import dataclass
from typing import Final, Literal

Built = Literal["seats", "close", "fourths", "upper-structure", "colours", "every"]


@dataclass(frozen=True, slots=True)
class Recipe:
    """One row of seats, low to high, bass excluded.

    `seats`: keys of `SEATS`. `left`: how many of them the left hand takes where two hands play.
    `chord_types`: the chord types that the row is for; empty means all that have no rows of their
    own.
    """

    seats: tuple[str, ...]
    left: int
    chord_types: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Family:
    """A recipe for voicings under its trade name.

    Attributes
    ----------
    hands : tuple of str
        Hands that may play it: ``both`` needs two, ``left`` and ``right`` mean one is enough.
    voices : tuple of int
        Numbers of upper notes it can have; a bass note is not counted.
    voices_alone : tuple of int
        The same without a bass player, where it differs.
    unserved : tuple of str
        Sorts of chord that it does not serve, whatever the tensions.
    neighbour : tuple of (int, str)
        By number of voices, the family that plays what this one cannot play of a chord.
    """

    id: str
    about: str
    hands: tuple[str, ...]
    voices: tuple[int, ...]
    built: Built
    recipes: tuple[Recipe, ...] = ()
    drops: tuple[int, ...] = ()
    unserved: tuple[str, ...] = ()
    neighbour: tuple[tuple[int, str], ...] = ()
    voices_alone: tuple[int, ...] = ()

    def sizes(self, bass_player: bool) -> tuple[int, ...]:
        """Numbers of upper notes with or without a bass player, ascending."""
        return self.voices if bass_player or not self.voices_alone else self.voices_alone


def _rows(*texts: str, of: tuple[str, ...] = ()) -> tuple[Recipe, ...]:
    """Recipes from ``"3 7 | 9 5 1"``; the bar stands between the hands."""
    rows = []
    for text in texts:
        left, _, right = text.partition("|")
        low = tuple(left.split())
        rows.append(Recipe((*low, *right.split()), len(low), of))
    return tuple(rows)


# What may sit on a seat: (degrees, cost) from the most to the least natural. Of all seatings of a
# row that the hard rules allow, those with the least cost are kept. "third", "seventh" and "fifth"
# stand for the chord's own; "written" for the degrees that the symbol writes. A seat with one
# option is that degree or nothing: its row is for chords that have it.
Option = tuple[str, int]
SEATS: Final[dict[str, tuple[Option, ...]]] = {
    "1": (("1", 0), ("ninth", 1), ("written", 2), ("fifth", 3), ("third", 4)),
    "3": (("third", 0), ("1", 3), ("fifth", 3)),
    "5": (
        ("fifth", 0), ("thirteenth", 1), ("written", 2), ("eleventh", 2), ("1", 3), ("third", 4),
    ),
    "7": (("seventh", 0), ("sixth", 1), ("written", 2), ("1", 3), ("fifth", 3)),
    "9": (("ninth", 0), ("1", 1), ("written", 2), ("fifth", 3), ("third", 4)),
    "13": (
        ("thirteenth", 0), ("fifth", 1), ("sixth", 1), ("written", 2), ("1", 3), ("third", 4),
    ),
    "6": (("sixth", 0),),
    "ninth": (("9", 0),),
    "thirteenth": (("13", 0),),
    "b9": (("b9", 0),),
    "11": (("11", 0),),
    "#11": (("#11", 0),),
    "top": (
        ("ninth", 0), ("eleventh", 0), ("thirteenth", 0), ("1", 0), ("third", 0), ("fifth", 0),
        ("seventh", 0), ("written", 0),
    ),
}  # fmt: skip

#: Chord types with rows of their own: all four tones of a diminished seventh, any of them on top.
OWN_ROWS: Final = ("diminished-seventh",)
_DIMINISHED: Final = ("diminished-seventh",)
_DOMINANTS: Final = ("dominant", "dominant-suspended")
#: Triads, and chord types that no triad has two new degrees for.
_NO_UPPER_STRUCTURE: Final = (
    "power", "major", "minor", "augmented", "diminished", "suspended", "major-sixth",
    "augmented-major-seventh", "half-diminished", "diminished-seventh",
)  # fmt: skip

FAMILIES: Final[dict[str, Family]] = {
    family.id: family
    for family in (
        Family(
            "guide-tone",
            "third and seventh in the left hand, root and fifth in the right",
            ("both",), (4,), "seats",
            _rows("3 7 | 1 5", "7 3 | 5 1") + _rows("3 7 | 1 5", "7 3 | 5 1", of=_DIMINISHED),
        ),
        Family(
            "guide-tone-extended",
            "third and seventh in the left hand, ninth or thirteenth with fourths in the right",
            ("both",), (5,), "seats",
            _rows("3 7 | 9 5 1", "7 3 | 13 9 5")
            + _rows("3 7 | 1 5 top", "7 3 | 5 1 top", of=_DIMINISHED),
            neighbour=((5, "spread"),),
        ),
        Family(
            "guide-tone-full",
            "six notes: guide tones with the ninth and thirteenth spread over both hands",
            ("both",), (6,), "seats",
            _rows("3 7 9 | 13 9 5", "7 3 | 13 9 5 1", "7 3 13 | 3 13 9")
            + _rows("3 7 1 | 5 1 top", "7 3 | 1 5 3 top", "7 3 5 | 3 1 top", of=_DIMINISHED),
        ),
        Family(
            "shell",
            "guide tones alone; without a bass player the root and one or both of them",
            ("left", "right"), (2,), "seats",
            _rows("3", "7", "3 7", "7 3") + _rows("3", "7", "3 7", "7 3", of=_DIMINISHED),
            voices_alone=(1, 2),
        ),
        Family(
            "rootless-three",
            "guide tones with the ninth or thirteenth, for one hand",
            ("left", "right"), (3,), "seats",
            _rows("3 7 9", "7 3 13")
            + _rows("7 3 5", "3 7 13", of=_DOMINANTS)
            + _rows("3 5 7", "5 7 3", "7 3 5", "3 7 5", of=_DIMINISHED),
        ),
        Family(
            "rootless",
            "four notes without the root for one hand, from the third or from the seventh",
            ("left", "right"), (4,), "seats",
            _rows("3 5 7 9", "7 9 3 5", "3 5 7 1", "7 1 3 5")
            + _rows("3 13 7 9", "7 9 3 13", "3 13 7 1", "7 1 3 13")
            + _rows("3 #11 7 9", "7 9 3 #11", "3 #11 7 1", "7 1 3 #11", "3 7 9 #11", "7 3 #11 13")
            + _rows("3 11 7 9", "7 9 3 11")
            + _rows("3 5 6 9", "6 9 3 5", "3 5 6 1", "6 1 3 5", of=("major-seventh",))
            + _rows("13 7 9 3", "7 ninth #11 thirteenth", of=("dominant",))
            + _rows("1 b9 3 5", of=("dominant-suspended",))
            + _rows("1 11 5 7", "3 5 7 11", "11 5 7 3", of=("half-diminished",))
            + _rows("1 3 5 7", "3 5 7 1", "5 7 1 3", "7 1 3 5", of=_DIMINISHED),
            neighbour=((4, "close"),),
        ),
        Family(
            "close",
            "four notes within an octave, every inversion",
            ("both", "left", "right"), (4,), "close",
        ),
        *(
            Family(
                name,
                f"close position with the {voices} from the top an octave lower",
                ("both", "left", "right"), (4,), "close",
                drops=drops,
                unserved=("power",),
                neighbour=((4, "close"),),
            )
            for name, voices, drops in (
                ("drop-2", "second voice", (2,)),
                ("drop-3", "third voice", (3,)),
                ("drop-2-4", "second and fourth voices", (2, 4)),
            )
        ),
        Family(
            "fourths",
            "a stack of fourths out of the chord's own colours, or with a third on top",
            ("both",), (3, 4, 5), "fourths",
            neighbour=((3, "rootless-three"), (4, "guide-tone"), (5, "guide-tone-extended")),
        ),
        Family(
            "guide-tone-colours",
            "third and seventh in the left hand, any other degrees in the right, none twice",
            ("both",), (4, 5, 6), "colours",
            neighbour=((4, "guide-tone"), (5, "guide-tone-extended"), (6, "guide-tone-full")),
        ),
        Family(
            "upper-structure",
            "guide tones in the left hand, a triad with two new degrees in the right",
            ("both",), (5, 6), "upper-structure",
            unserved=_NO_UPPER_STRUCTURE,
            neighbour=((5, "guide-tone-extended"), (6, "guide-tone-full")),
        ),
        Family(
            "spread",
            "bass, guide tones above it in either order, and other degrees wide above them",
            ("both",), (3, 4, 5), "colours",
            _rows("3 7 | 9", "7 3 | 13")
            + _rows("3 7 | 9 13", "7 3 | 13 9")
            + _rows("3 7 | 13 9 5", "7 3 | 13 9 5", "7 3 | 5 13 9"),
        ),
        Family(
            "any-playable",
            "every set of chord tones and tensions that the hard rules allow",
            ("both", "left", "right"), (3, 4, 5, 6, 7, 8), "every",
        ),
    )
}  # fmt: skip

#: Families whose rows need more room than their situation has: highest note by default.
WIDER: Final[dict[str, str]] = {"guide-tone-full": "Gb6"}


def shared_voices(ids: tuple[str, ...], bass_player: bool) -> tuple[int, ...]:
    """The numbers of upper notes that all the families can have, ascending.

    >>> shared_voices(("guide-tone-extended", "fourths", "upper-structure"), bass_player=True)
    (5,)
    """
    sizes = (set(FAMILIES[name].sizes(bass_player)) for name in ids)
    return tuple(sorted(set.intersection(*sizes)))
