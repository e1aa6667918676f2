"""Families: the recipes for voicings."""

from shortway.core.settings.families import FAMILIES
from shortway.core.settings.setting import HANDS
from shortway.core.theory.qualities import CHORD_TYPES
from shortway.wire.fields import (
    ResponseSchema,
    StrictBoolean,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictString,
)

_CHORD_TYPE = StrictString("A chord type.", "dominant", enum=list(CHORD_TYPES))


class FamilyRecipeSchema(ResponseSchema):
    """One row of seats."""

    seats = StrictList(
        StrictString("A seat, by the degree that it is for.", "3"),
        "Seats from low to high.",
        ["3", "7", "9", "5", "1"],
    )
    left = StrictInteger("How many of them the left hand takes where two hands play.", 2)
    serves = StrictList(_CHORD_TYPE, "Chord types that the row is for.", ["dominant"])


class FamilyNeighbourSchema(ResponseSchema):
    """The family used for chords that this one cannot play."""

    voices = StrictInteger("A number of upper notes.", 4)
    family = StrictString("The family that takes over.", "close", enum=list(FAMILIES))


class SituationSchema(ResponseSchema):
    """Who plays."""

    hands = StrictString("The hands that play.", "left", enum=list(HANDS))
    bass_player = StrictBoolean("Whether somebody else plays the bass.", True)


class FamilySchema(ResponseSchema):
    """A recipe for voicings, by its trade name."""

    id = StrictString("What a setting calls it.", "rootless", enum=list(FAMILIES))
    about = StrictString("The recipe in words.", "third and seventh left, root and fifth right")
    hands = StrictList(
        StrictString("Hands.", "both", enum=list(HANDS)),
        "Hands that may play it; both needs two.",
        ["left", "right"],
    )
    voices = StrictList(StrictInteger(), "How many notes it can have with a bass player.", [4])
    voices_alone = StrictList(
        StrictInteger(), "The same without one, the bass note not counted.", [4]
    )
    built = StrictString("seats: from its recipes; else by the rule of that name.", "seats")
    recipes = StrictList(
        StrictNested(FamilyRecipeSchema),
        "Its rows of seats, where it has some.",
        [{"seats": ["3", "7", "1", "5"], "left": 2, "serves": ["dominant"]}],
    )
    drops = StrictList(StrictInteger(), "Voices from the top that go an octave down.", [2])
    serves = StrictList(_CHORD_TYPE, "Chord types that it serves.", ["dominant"])
    neighbours = StrictList(
        StrictNested(FamilyNeighbourSchema),
        "Families used for chords that it cannot play, by number of notes.",
        [{"voices": 4, "family": "close"}],
    )
    default_for = StrictList(
        StrictNested(SituationSchema),
        "Where it is used unless families are given.",
        [{"hands": "left", "bass_player": True}],
    )


class FamilyListSchema(ResponseSchema):
    """The table of families, in its order."""

    families = StrictList(StrictNested(FamilySchema), "All of them.")
