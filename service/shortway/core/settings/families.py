"""The families as a table of recipes: data, and the few facts that follow from it.

Knows no chord and no note. A recipe is a row of seats from low to high; which degree of a chord
takes a seat is said by `SEATS`, and `voicings.model` does the seating. Adding a family of
seats is adding rows. Families built by another rule (``close``, drops, ``fourths``,
``upper-triad``) name that rule in `Family.built`.

Sources: rootless, spread and close rows as in Hutchinson, *Music Theory for the 21st-Century
Classroom*, jazz unit; drop voicings, fourths and upper triads are common practice, no one source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Built = Literal["seats", "close", "fourths", "upper-triad", "every"]


@dataclass(frozen=True, slots=True)
class Recipe:
    """One row of seats, low to high, bass excluded.

    Attributes
    ----------
    seats : tuple of str
        Keys of `SEATS`.
    left : int
        How many of them the left hand takes where two hands play.
    chord_types : tuple of str
        The chord types that the row is for; empty means all.
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


def _rows(*texts: str, chord_types: tuple[str, ...] = ()) -> tuple[Recipe, ...]:
    """Recipes from ``"3 7 | 9 5 1"``; the bar stands between the hands."""
    rows = []
    for text in texts:
        left, _, right = text.partition("|")
        low = tuple(left.split())
        rows.append(Recipe((*low, *right.split()), len(low), chord_types))
    return tuple(rows)


_DOMINANTS: Final = ("dominant", "dominant-suspended")

# What may sit on a seat: (degrees, cost) from the most to the least natural. Of all seatings of a
# row that the hard rules allow, those with the least cost are kept. "third", "seventh" and "fifth"
# stand for the chord's own; "written" for the degrees that the symbol writes; "last" for the 9 of
# an open fifth, which is taken only where nothing else lies under the hands.
Option = tuple[str, int]
SEATS: Final[dict[str, tuple[Option, ...]]] = {
    "1": (("1", 0), ("ninth", 1), ("written", 2), ("fifth", 3), ("third", 4), ("last", 5)),
    "3": (("third", 0), ("1", 3), ("fifth", 3)),
    "5": (
        ("fifth", 0), ("thirteenth", 1), ("written", 2), ("eleventh", 2), ("1", 3), ("third", 4),
        ("last", 5),
    ),
    "7": (("seventh", 0), ("sixth", 1), ("written", 2), ("1", 3), ("fifth", 3)),
    "9": (("ninth", 0), ("1", 1), ("written", 2), ("fifth", 3), ("third", 4), ("last", 5)),
    "13": (
        ("thirteenth", 0), ("fifth", 1), ("sixth", 1), ("written", 2), ("1", 3), ("third", 4),
        ("last", 5),
    ),
}  # fmt: skip

FAMILIES: Final[dict[str, Family]] = {
    family.id: family
    for family in (
        Family(
            "guide-tone",
            "third and seventh in the left hand, root and fifth in the right",
            ("both",),
            (4,),
            "seats",
            _rows("3 7 | 1 5", "7 3 | 5 1"),
        ),
        Family(
            "guide-tone-extended",
            "third and seventh in the left hand, ninth or thirteenth with fourths in the right",
            ("both",),
            (5,),
            "seats",
            _rows("3 7 | 9 5 1", "7 3 | 13 9 5"),
            neighbour=((5, "spread"),),
        ),
        Family(
            "guide-tone-full",
            "six notes: guide tones with the ninth and thirteenth spread over both hands",
            ("both",),
            (6,),
            "seats",
            _rows("3 7 9 | 13 9 5", "7 3 | 13 9 5 1", "7 3 13 | 3 13 9"),
        ),
        Family(
            "shell",
            "guide tones alone; without a bass player the root and one or both of them",
            ("left", "right"),
            (2,),
            "seats",
            _rows("3", "7", "3 7", "7 3"),
            voices_alone=(1, 2),
        ),
        Family(
            "rootless-three",
            "guide tones with the ninth or thirteenth, for one hand",
            ("left", "right"),
            (3,),
            "seats",
            _rows("3 7 9", "7 3 13"),
        ),
        Family(
            "rootless",
            "four notes without the root for one hand, from the third or from the seventh",
            ("left", "right"),
            (4,),
            "seats",
            _rows("3 5 7 9", "7 9 3 5") + _rows("3 13 7 9", "7 9 3 13", chord_types=_DOMINANTS),
            neighbour=((4, "close"),),
        ),
        Family(
            "close",
            "four notes within an octave, every inversion",
            ("both", "left", "right"),
            (4,),
            "close",
        ),
        *(
            Family(
                name,
                f"close position with the {voices} from the top an octave lower",
                ("both", "left", "right"),
                (4,),
                "close",
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
            ("both",),
            (3, 4, 5),
            "fourths",
            neighbour=((3, "rootless-three"), (4, "guide-tone"), (5, "guide-tone-extended")),
        ),
        Family(
            "upper-triad",
            "guide tones in the left hand, a triad with a tension in the right",
            ("both",),
            (5, 6),
            "upper-triad",
            _rows("3 7", "7 3"),
            unserved=(
                "power",
                "major",
                "minor",
                "augmented",
                "diminished",
                "suspended",
                "major-sixth",
                "augmented-major-seventh",
                "half-diminished",
            ),
            neighbour=((5, "guide-tone-extended"), (6, "guide-tone-full")),
        ),
        Family(
            "spread",
            "bass, guide tones above it, and tensions wide above them",
            ("both",),
            (3, 4, 5),
            "seats",
            _rows("3 7 | 9", "7 3 | 13")
            + _rows("3 7 | 9 13", "7 3 | 13 9")
            + _rows("3 7 | 13 9 5", "7 3 | 13 9 5", "7 3 | 5 13 9"),
        ),
        Family(
            "any-playable",
            "every set of chord tones and tensions that the hard rules allow",
            ("both", "left", "right"),
            (3, 4, 5, 6, 7, 8),
            "every",
        ),
    )
}


@dataclass(frozen=True, slots=True)
class Situation:
    """What a setting defaults to for the hands that play and who plays the bass."""

    families: tuple[str, ...]
    notes: int
    lowest: str
    highest: str
    home: str


#: Defaults by (hands, bass player). Range of the left hand alone: Eb3 to A4 (a sixth either side
#: of middle C); E2 is the lowest string of the bass. The rest is common practice, no source.
SITUATIONS: Final[dict[tuple[str, bool], Situation]] = {
    ("both", True): Situation(
        ("guide-tone-extended", "fourths", "upper-triad"), 5, "Eb3", "C6", "F4"
    ),
    ("left", True): Situation(("rootless",), 4, "Eb3", "A4", "C4"),
    ("right", True): Situation(("rootless",), 4, "Eb3", "C6", "F4"),
    ("both", False): Situation(("spread", "rootless"), 4, "E2", "C6", "C4"),
    ("left", False): Situation(("shell",), 1, "E2", "A4", "C4"),
    ("right", False): Situation(("shell",), 2, "E2", "C6", "C4"),
}

#: Families whose rows need more room than their situation has: highest note by default.
WIDER: Final[dict[str, str]] = {"guide-tone-full": "Gb6"}


def shared_voices(ids: tuple[str, ...], bass_player: bool) -> tuple[int, ...]:
    """The numbers of upper notes that all the families can have, ascending.

    >>> shared_voices(("guide-tone-extended", "fourths", "upper-triad"), bass_player=True)
    (5,)
    """
    sizes = (set(FAMILIES[name].sizes(bass_player)) for name in ids)
    return tuple(sorted(set.intersection(*sizes)))
